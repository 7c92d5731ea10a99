// Choosers above the fields that rows of the craft stand for: which pack, propeller or flight the page shows.
import { addRow, chosenIndex, defaultName, freeName, labelOf, putCell, rowsIn } from "./craft-cells.js";
import { changeCraft, choose, readChosen, readCraft } from "./craft-store.js";

const ANOTHER = "another";

/** @returns {Element | null} the first field or table of a form that a chooser decides */
const firstField = (/** @type {HTMLFormElement} */ form, /** @type {import("./craft-cells.js").Chooser} */ { stands_for, adds_to }) => {
  const inputs = [...Object.keys(stands_for), ...adds_to].map((name) => document.getElementById(name)).filter((node) => node && form.contains(node));
  const [first] = inputs.sort((a, b) => (a.compareDocumentPosition(b) & Node.DOCUMENT_POSITION_FOLLOWING ? -1 : 1));
  return first?.closest(".field, fieldset[data-table]") ?? null;
};

/** Choose a row, and name it in the row of another chooser that names such: the pack of a flight. */
const chooseRow = (/** @type {import("./craft-cells.js").Choosers} */ choosers, /** @type {string} */ member, /** @type {number} */ index) => changeCraft((craft) => {
  const { table } = choosers[member];
  const name = String(rowsIn(craft, table)[index]?.name ?? freeName(rowsIn(craft, table), member, index));
  if (index >= rowsIn(craft, table).length) addRow(craft, table, { name });
  else putCell(craft, table, index, "name", name);
  for (const [other, { names, table: naming }] of Object.entries(choosers)) {
    if (names.includes(member) && rowsIn(craft, naming).length) putCell(craft, naming, chosenIndex(craft, choosers, readChosen(), other), member, name);
  }
  choose(member, name);
});

/**
 * Show a chooser for each table of the craft that has rows.
 * @param {HTMLFormElement} form
 * @param {import("./craft-cells.js").Choosers} choosers
 * @param {() => void} onChoice called after another row was chosen
 */
export const addChoosers = (form, choosers, onChoice) => {
  for (const old of form.querySelectorAll(".chooser")) old.remove();
  const craft = readCraft();
  for (const [member, chooser] of Object.entries(choosers)) {
    const rows = rowsIn(craft, chooser.table);
    const field = firstField(form, chooser);
    if (!rows.length || !field) continue;
    const label = labelOf(member);
    const select = document.createElement("select");
    select.id = `chosen-${member}`;
    const chosen = chosenIndex(craft, choosers, readChosen(), member);
    rows.forEach((row, index) => select.add(new Option(String(row.name ?? defaultName(member, index)), String(index), false, index === chosen)));
    select.add(new Option(`Another ${label.toLowerCase()}`, ANOTHER));
    select.addEventListener("input", (event) => event.stopPropagation()); // it is no input of the calculator
    select.addEventListener("change", (event) => {
      event.stopPropagation();
      chooseRow(choosers, member, select.value === ANOTHER ? rows.length : Number(select.value));
      onChoice();
    });
    const holder = document.createElement("div");
    holder.className = "field chooser";
    const control = document.createElement("div");
    control.className = "control";
    control.append(select);
    holder.append(Object.assign(document.createElement("label"), { htmlFor: select.id, textContent: label }), control);
    field.before(holder);
  }
};
