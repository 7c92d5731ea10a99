// Choosers above the fields that a row of the craft stands for: which pack, propeller or flight they show.
import { chosenIndex, defaultName, rowsIn } from "./craft-cells.js";
import { changeCraft, choose, readChosen, readCraft } from "./craft-store.js";

const ANOTHER = "another";

/** @returns {Element | null} the first field of the form that a chooser stands for */
const firstField = (/** @type {HTMLFormElement} */ form, /** @type {import("./craft-cells.js").Chooser} */ { stands_for }) => {
  const inputs = Object.keys(stands_for).map((name) => document.getElementById(name)).filter((node) => node?.form === form);
  const [first] = inputs.sort((a, b) => (a.compareDocumentPosition(b) & Node.DOCUMENT_POSITION_FOLLOWING ? -1 : 1));
  return first?.closest(".field") ?? null;
};

/**
 * Add a chooser above the fields of each table of the craft that has rows.
 * @param {HTMLFormElement} form
 * @param {import("./craft-cells.js").Choosers} choosers
 * @param {() => void} onChoice called after another row was chosen
 */
export const addChoosers = (form, choosers, onChoice) => {
  for (const old of form.querySelectorAll(".chooser")) old.remove();
  const craft = readCraft();
  for (const [chooser, description] of Object.entries(choosers)) {
    const rows = rowsIn(craft, description.table);
    const field = firstField(form, description);
    if (!rows.length || !field) continue;
    const chosen = chosenIndex(rows, readChosen()[chooser]);
    const label = defaultName(chooser, 0).replace(/ 1$/, "");
    const select = document.createElement("select");
    select.id = `chosen-${chooser}`;
    rows.forEach((row, index) => select.add(new Option(String(row.name ?? defaultName(chooser, index)), String(index), false, index === chosen)));
    select.add(new Option(`Another ${label.toLowerCase()}`, ANOTHER));
    select.addEventListener("change", (event) => {
      event.stopPropagation(); // it is no input
      const index = select.value === ANOTHER ? rows.length : Number(select.value);
      const row = { name: defaultName(chooser, index), ...rows[index] };
      changeCraft((changed) => { changed[description.table] = [...rows.slice(0, index), row, ...rows.slice(index + 1)]; });
      choose(chooser, String(row.name));
      onChoice();
    });
    const holder = document.createElement("div");
    holder.className = "field chooser";
    holder.append(Object.assign(document.createElement("label"), { htmlFor: select.id, textContent: label }), select);
    field.before(holder);
  }
};
