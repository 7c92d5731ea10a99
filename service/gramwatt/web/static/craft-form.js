// The craft and the form of a page: what is typed goes into the craft, and what the craft has into the form.
import { addRow, chosenIndex, defaultName, freeName, labelOf, placeOf, putCell, putInput, removeAt, renameRow, rowsIn } from "./craft-cells.js";
import { changeCraft, choose, isEmpty, onCraft, readChosen, readCraft, readExamples, storeExample } from "./craft-store.js";
import { say } from "./craft.js";
import { cellOf, forgetRow, originOf, rememberOrigins, storeCell } from "./craft-rows.js";
import { form, isEdit, onResults, path, query, showAddress, showBareAddress, submit, update } from "./form.js";
import { chosenColumns, setFile, showPicker, timeChannel } from "./recording-picker.js";
import { keyOf, readRecording, writeRecording } from "./recording-store.js";

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

/** @type {{[name: string]: import("./craft-cells.js").FieldKind}} */
const fields = JSON.parse(form.dataset.fields ?? "{}");
/** @type {import("./craft-cells.js").Choosers} */
const choosers = JSON.parse(form.dataset.choosers ?? "{}");
/** @type {{[table: string]: {member?: string, named_by: {table: string, column: string}[]}}} what names rows of the craft */
const namedRows = JSON.parse(form.dataset.names ?? "{}");
const OTHER_TAB_PAUSE = 600; // milliseconds without a change of the craft in another tab, before the form is filled again
const MINE = "#mine="; // of a link: the fields that win over the craft, which wins over the others
/** Whether the page shows the craft, so that edits change it; else it shows what is in its address. */
let follows = false;
let timer = 0;
/** Fields that came with a link and win over the craft. @type {string[]} */
let carried = [];

const fileInputs = () => /** @type {HTMLInputElement[]} */ ([...form.querySelectorAll("input[type=file][data-channels]")].filter(({ name }) => !name.includes("#")));

/** @returns {string} the key of the recording of a field */
const recordingKey = (/** @type {string} */ name) => {
  const [table, at, column] = name.split(".");
  const place = column === undefined ? placeOf(readCraft(), choosers, readChosen(), name) : { column, ...originOf(table, Number(at)) };
  return place?.table ? keyOf(place.table, place.index, place.column) : name;
};

/** Put what was typed into a field into the craft. */
const storeField = (/** @type {string} */ name) => {
  const [input] = name.split(".");
  const field = fields[input];
  if (!field || field.kind === "samples") return;
  if (field.kind === "table") storeCell(name, field.columns);
  else changeCraft((craft) => putInput(craft, choosers, readChosen(), input, cellOf(input, field)));
};

/** Make the row that holds the recording of a field, with the rows that it names as the page shows them. */
const addRowOf = (/** @type {string} */ name) => changeCraft((craft) => {
  const place = placeOf(craft, choosers, readChosen(), name);
  if (!place || rowsIn(craft, place.table).length) return;
  const names = choosers[place.member].names.filter((member) => choosers[member]);
  const named = names.map((member) => [member, rowsIn(craft, choosers[member].table)[chosenIndex(craft, choosers, readChosen(), member)]?.name]);
  addRow(craft, place.table, { name: defaultName(place.member, 0), ...Object.fromEntries(named.filter(([, each]) => each)) });
});

/** Store the recording of a control, and the columns that were chosen. */
const storeRecording = async (/** @type {HTMLInputElement} */ input) => {
  const [file] = input.files;
  if (file && input.name.includes(".")) storeField(input.name);
  else if (file) addRowOf(input.name);
  const decimal = form.elements.decimal.value;
  await writeRecording(recordingKey(input.name), file ? { file, time: timeChannel(input), columns: chosenColumns(input), decimal } : null);
  showChoosers();
};

/** @returns {Promise<{[name: string]: import("./recording-store.js").StoredRecording}>} recordings by their fields */
const recordingsHere = async () => {
  const names = Object.entries(fields).flatMap(([name, { kind, columns = {} }]) => {
    if (kind === "samples") return [[name, recordingKey(name)]];
    const recorded = Object.keys(columns).filter((column) => columns[column].kind === "samples");
    return rowsIn(readCraft(), name).flatMap((_, index) => recorded.map((column) => [keyOf(name, index, column), keyOf(name, index, column)]));
  });
  const found = await Promise.all(names.map(async ([name, key]) => [name, await readRecording(key)]));
  return Object.fromEntries(found.filter(([, recording]) => recording));
};

/** @returns {URLSearchParams} the unchanged figures of this page's example, which give way to the craft */
const besideCraft = () => new URLSearchParams(readExamples()[path] ?? "");

/** Let what is unchanged of an example stay on this page, beside what is typed. Its tables become the craft's. */
const keepExample = (/** @type {string} */ edited) => {
  const isKept = path in readExamples();
  if (!isKept && !("example" in form.dataset)) return;
  const figures = isKept ? besideCraft() : query();
  const isOther = (name) => name === "decimal" || (fields[name]?.kind !== "samples" && name in fields && name !== edited);
  const names = [...figures.keys()].filter((name) => !isOther(name.replace(/\.unit$/, "")));
  for (const name of names) figures.delete(name);
  storeExample(path, figures.toString());
};

/** Fill the form from the craft. `base`: the fields of the address, which give way to it. */
const fill = async (base = query()) => {
  form.setAttribute("aria-busy", "true");
  await fillFrom(base).finally(() => form.removeAttribute("aria-busy"));
};

/** Fill the form once another tab has not changed the craft for a while, rather than for each character typed there. */
const fillLater = () => {
  clearTimeout(timer);
  timer = setTimeout(() => fill(besideCraft()), OTHER_TAB_PAUSE);
};

const fillFrom = async (/** @type {URLSearchParams} */ base) => {
  const body = new FormData();
  const recordings = await recordingsHere();
  const craft = readCraft();
  body.append("craft", JSON.stringify(craft));
  body.append("base", base.toString());
  for (const [member, { table }] of Object.entries(choosers)) {
    const name = rowsIn(craft, table)[chosenIndex(craft, choosers, readChosen(), member)]?.name;
    const isNamed = Object.values(choosers).some((other) => other.names.includes(member) && rowsIn(craft, other.table).length);
    if (name && !isNamed) body.append(member, String(name)); // else the row that names it decides
  }
  for (const name of carried.flatMap((each) => [each, `${each}.unit`])) if (base.has(name)) body.append(name, base.get(name));
  const decimal = decimalOf(base, recordings);
  if (decimal) body.append("decimal", decimal);
  for (const [name, { file, columns }] of Object.entries(recordings)) {
    body.append(name, file);
    for (const [channel, column] of Object.entries(columns)) body.append(`${name}.${channel}_column`, column);
  }
  body.append("shape", matchMedia("(max-width: 36rem)").matches ? "narrow" : "wide");
  if (!await update(path, { body, wholePage: true })) return;
  follows = true;
  if (form.dataset.unknown) offerRemoval(JSON.parse(form.dataset.unknown));
  await showRecordings(recordings);
  if ("example" in form.dataset) showBareAddress(); else showAddress(false, { craft: true, carried });
};

/** @returns {string | null} the decimal sign of the fields that are sent; without any, that of a recording or of the form */
const decimalOf = (/** @type {URLSearchParams} */ base, recordings) => {
  if (base.toString()) return base.get("decimal");
  const signs = [form.elements.decimal.value, ...Object.values(recordings).map(({ decimal }) => decimal)];
  return signs.includes(",") ? "," : null;
};

/** Offer to remove from the craft what no calculator asks for: it blocks every page. */
const offerRemoval = (/** @type {string[]} */ pointers) => {
  const names = pointers.map((pointer) => pointer.split("/").at(-1)).join(", ");
  say(`No calculator asks for this part of your craft: ${names}.`, {
    "Leave it out": () => {
      changeCraft((craft) => { for (const pointer of pointers) removeAt(craft, pointer); });
      fill();
    },
  });
};

/** Put the stored recordings into their controls. */
const showRecordings = async (recordings) => {
  for (const [name, { file, columns }] of Object.entries(recordings)) {
    const input = fileInputs().find((each) => each.name === name);
    if (!input || input.files.length) continue;
    setFile(input, file);
    await showPicker(input, columns);
  }
};

const showChoosers = () => { if (follows && !("example" in form.dataset)) addChoosers(form, choosers, () => fill(withoutChosen())); };

/** The fields of the form that no row of the craft stands for, when another row is chosen. */
const withoutChosen = () => {
  const base = query();
  for (const { stands_for, adds_to } of Object.values(choosers)) {
    for (const name of [...Object.keys(stands_for), ...adds_to]) { base.delete(name); base.delete(`${name}.unit`); }
  }
  return base;
};

/** Offer the craft where the address brought other figures. */
const offer = () => say("This page shows the figures of its address.", {
  "Show my craft": () => { carried = []; fill(besideCraft()); },
  "Add these to my craft": () => {
    follows = true;
    for (const { name } of [...form.elements]) if (name && form.elements[name].value && !/\.unit$|#/.test(name)) storeField(name);
    showAddress(false, { craft: true, carried });
    showChoosers();
  },
});

const onEdit = (/** @type {Event} */ event) => {
  if (!isEdit(event) || !follows) return;
  const { name, type } = event.target;
  const field = name.replace(/\.unit$/, "");
  if (type === "file" || !(field.split(".")[0] in fields)) return; // such as the unit of a result
  keepExample(field);
  storeField(field);
};

/** Let the craft's other tables, and what is chosen, follow the new name of a row. */
const followRow = (/** @type {{table: string, from: string, to: string}} */ { table, from, to }) => changeCraft((craft) => {
  const { member, named_by: references } = namedRows[table] ?? { named_by: [] };
  if (renameRow(craft, references, table, from, to) && member && readChosen()[member] === from) choose(member, to);
});

/** Store a recording. Beside it the figures of an example are wrong: the craft takes their place. */
const takeFile = async (/** @type {HTMLInputElement} */ input) => {
  const isExample = "example" in form.dataset;
  await showPicker(input);
  if (!follows) return;
  await storeRecording(input);
  if (!isExample) return;
  storeExample(path, "");
  await fill(new URLSearchParams());
};

const onChange = (/** @type {Event} */ event) => {
  if (!isEdit(event)) return;
  const { name, type, value } = event.target;
  if (type === "file") {
    form.setAttribute("aria-busy", "true");
    takeFile(event.target).finally(() => form.removeAttribute("aria-busy"));
  }
  if (!follows) return;
  if (history.state?.craft !== true) history.replaceState({ craft: true, carried }, "");
  const isOverruled = !value && form.dataset.derived?.split(" ").includes(name); // the sum is shown again
  if (isOverruled) fill();
};

/** Links to the next calculators carry results; the craft fills in the rest. */
const markLinks = () => {
  if (!follows) return;
  const craft = readCraft();
  const known = new Set([...Object.keys(craft), ...Object.keys(craft).flatMap((name) => rowsIn(craft, name).flatMap(Object.keys))]);
  for (const link of document.querySelectorAll("a[data-carries]")) link.hash = `${MINE}${link.dataset.carries}`;
  for (const note of document.querySelectorAll("[data-needs]")) note.hidden = note.dataset.needs.split(" ").every((name) => known.has(name));
};

const start = async () => {
  const craft = readCraft();
  const parameters = new URLSearchParams(location.search);
  const isEmptyHere = isEmpty(craft) && !Object.keys(await recordingsHere()).length;
  const isLinked = location.hash.startsWith(MINE);
  if (isLinked) carried = decodeURIComponent(location.hash.slice(MINE.length)).split(" ").filter(Boolean);
  else if (history.state?.craft) carried = history.state.carried ?? [];
  const isMine = "example" in form.dataset || isLinked || history.state?.craft === true;
  follows = isMine || isEmptyHere;
  if (isMine && !isEmptyHere) await fill(location.search ? parameters : besideCraft());
  else if (!follows) offer();
  else if (isLinked) showAddress(false, { craft: true, carried });
  markLinks();
};

export const connect = () => {
  document.addEventListener("input", onEdit);
  document.addEventListener("change", onEdit);
  document.addEventListener("change", onChange);
  form.addEventListener("columnschosen", (event) => { if (follows) storeRecording(event.target); submit(true); });
  form.addEventListener("formreplaced", () => { rememberOrigins(); showChoosers(); });
  form.addEventListener("rowremoved", ({ detail }) => { if (follows) forgetRow(detail); });
  form.addEventListener("rowrenamed", ({ detail }) => { if (follows) followRow(detail); });
  onResults(markLinks);
  onCraft((_, elsewhere) => { if (elsewhere && follows) fillLater(); });
  addEventListener("craftreplaced", () => { carried = []; fill(besideCraft()); });
  addEventListener("pageshow", ({ persisted }) => { if (persisted && follows) fill(); });
  form.setAttribute("aria-busy", "true");
  start().finally(() => form.removeAttribute("aria-busy"));
};
