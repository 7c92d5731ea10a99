// Fills the form of a page from the craft, and puts what is typed back into it.
import { say } from "./craft.js";
import { chosenIndex, defaultName, placeOf, putInput, putRows, rowsIn, toCell } from "./craft-cells.js";
import { changeCraft, choose, isEmpty, onCraft, readChosen, readCraft } from "./craft-store.js";
import { form, isEdit, onResults, path, query, showAddress, submit, update } from "./form.js";
import { addChoosers } from "./craft-choosers.js";
import { chosenColumns, setFile, showPicker, timeChannel } from "./recording-picker.js";
import { keyOf, readRecording, recordingKeys, writeRecording } from "./recording-store.js";
import { rowsOf } from "./rows.js";

/** @type {{[name: string]: import("./craft-cells.js").FieldKind}} */
const fields = JSON.parse(form.dataset.fields);
/** @type {import("./craft-cells.js").Choosers} */
const choosers = JSON.parse(form.dataset.choosers);
const MINE = "#mine"; // of a link whose fields win over the craft, which fills the others
/** Whether the page shows the craft, so that edits change it; else it shows what is in its address. */
let follows = false;
/** Fields that came with a link and win over the craft. @type {string[]} */
let carried = [];
/** The row of the craft that each row of a table was filled from. @type {WeakMap<Element, import("./craft-store.js").Row>} */
const rowBefore = new WeakMap();

const fileInputs = () => /** @type {HTMLInputElement[]} */ ([...form.querySelectorAll("input[type=file][data-channels]")].filter(({ name }) => !name.includes("#")));
const tables = () => /** @type {HTMLElement[]} */ ([...form.querySelectorAll("[data-table]")]);

/** @returns {string} the key of the recording of a field */
const recordingKey = (/** @type {string} */ name) => {
  const place = placeOf(readCraft(), choosers, readChosen(), name);
  return place ? keyOf(place.table, place.index, place.column) : name;
};

/** @returns {string} the text of a control; nothing where there is none */
const textOf = (/** @type {string} */ name) => form.elements[name]?.value ?? "";

/** @returns {import("./craft-store.js").Cell | undefined} */
const cellOf = (/** @type {string} */ name, /** @type {import("./craft-cells.js").FieldKind} */ kind) => toCell(kind, textOf(name), textOf(`${name}.unit`), textOf("decimal") || ".");

/** Put a whole table as the page shows it into the craft. */
const storeTable = (/** @type {string} */ name) => {
  const columns = Object.entries(fields[name].columns ?? {}).filter(([, { kind }]) => kind !== "samples");
  const element = tables().find(({ dataset }) => dataset.table === name);
  const rows = rowsOf(element).map((row, index) => {
    const cells = Object.fromEntries(columns.map(([column, kind]) => [column, cellOf(`${name}.${index}.${column}`, kind)]));
    if ([...row.querySelectorAll("input[type=file]")].some(({ files }) => files.length)) cells.name ??= rowBefore.get(row)?.name ?? defaultName(name.replace(/s$/, ""), index);
    return { cells, before: rowBefore.get(row) ?? {} };
  });
  changeCraft((craft) => putRows(craft, name, rows, columns.map(([column]) => column)));
};

/** Put what was typed into a field into the craft. */
const storeField = (/** @type {string} */ name) => {
  const [input] = name.split(".");
  if (!(input in fields) || fields[input].kind === "samples") return;
  if (fields[input].kind === "table") storeTable(input);
  else changeCraft((craft) => putInput(craft, choosers, readChosen(), input, cellOf(input, fields[input])));
};

/** Store the recording of a control, and the columns that were chosen. */
const storeRecording = async (/** @type {HTMLInputElement} */ input) => {
  const [file] = input.files;
  const [table, index] = input.name.split(".");
  if (index !== undefined) {
    storeTable(table);
    await writeRecording(input.name, file ? { file, time: timeChannel(input), columns: chosenColumns(input) } : null);
    return;
  }
  const place = placeOf(readCraft(), choosers, readChosen(), input.name);
  if (place && file && !rowsIn(readCraft(), place.table).length) changeCraft((craft) => { craft[place.table] = [{ name: defaultName(place.chooser, 0) }]; });
  await writeRecording(recordingKey(input.name), file ? { file, time: timeChannel(input), columns: chosenColumns(input) } : null);
};

/** Store the recordings of a table under the numbers that its rows have now. */
const renumberRecordings = async (/** @type {string} */ table) => {
  for (const key of await recordingKeys()) if (key.startsWith(`${table}.`)) await writeRecording(key, null);
  for (const input of fileInputs()) if (input.name.startsWith(`${table}.`)) await storeRecording(input);
};

/** Remember for each row of a table which row of the craft it shows. */
const rememberRows = () => {
  const craft = readCraft();
  for (const table of tables()) {
    const rows = rowsIn(craft, table.dataset.table);
    rowsOf(table).forEach((row, index) => { if (rows[index]) rowBefore.set(row, rows[index]); });
  }
};

/** @returns {Promise<{[name: string]: import("./recording-store.js").StoredRecording}>} recordings by the field that they belong to */
const recordingsHere = async () => {
  const names = Object.entries(fields).flatMap(([name, { kind, columns = {} }]) => {
    if (kind === "samples") return [[name, recordingKey(name)]];
    const recorded = Object.keys(columns).filter((column) => columns[column].kind === "samples");
    return rowsIn(readCraft(), name).flatMap((_, index) => recorded.map((column) => [keyOf(name, index, column), keyOf(name, index, column)]));
  });
  const found = await Promise.all(names.map(async ([name, key]) => [name, await readRecording(key)]));
  return Object.fromEntries(found.filter(([, recording]) => recording));
};

/** Fill the form from the craft. `base`: the fields of the address, which give way to it. */
export const fill = async (base = query()) => {
  const body = new FormData();
  const recordings = await recordingsHere();
  const chosen = readChosen();
  const craft = readCraft();
  body.append("craft", JSON.stringify(craft));
  body.append("base", base.toString());
  for (const [chooser, { table }] of Object.entries(choosers)) {
    const rows = rowsIn(craft, table);
    if (rows.length) body.append(chooser, String(rows[chosenIndex(rows, chosen[chooser])].name ?? ""));
  }
  for (const name of carried) if (base.has(name) && name.split(".")[0] in fields) body.append(name, base.get(name));
  if (base.get("decimal")) body.append("decimal", base.get("decimal"));
  for (const [name, { file, columns }] of Object.entries(recordings)) {
    body.append(name, file);
    for (const [channel, column] of Object.entries(columns)) body.append(`${name}.${channel}_column`, column);
  }
  body.append("shape", matchMedia("(max-width: 36rem)").matches ? "narrow" : "wide");
  if (!await update(path, { body, wholePage: true })) return;
  follows = true;
  await showRecordings(recordings);
  if (!("example" in form.dataset)) showAddress(false, { craft: true, carried });
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

const showChoosers = () => addChoosers(form, choosers, () => fill(withoutChosen()));

/** The fields of the form that no row of the craft stands for, when another row is chosen. */
const withoutChosen = () => {
  const base = query();
  for (const { stands_for } of Object.values(choosers)) {
    for (const name of Object.keys(stands_for)) { base.delete(name); base.delete(`${name}.unit`); }
  }
  return base;
};

/** Offer the craft where the address brought other figures. */
const offer = () => say("This page shows the figures of its address.", {
  "Show my craft": () => { carried = []; fill(new URLSearchParams()); },
  "Add these to my craft": () => {
    follows = true;
    for (const name of Object.keys(fields)) if (textOf(name) || fields[name].kind === "table") storeField(name);
    showAddress(false, { craft: true, carried });
    showChoosers();
  },
});

const onEdit = (/** @type {Event} */ event) => {
  if (!isEdit(event) || !follows) return;
  const { name, type } = event.target;
  if (type !== "file" && name) storeField(name.replace(/\.unit$/, ""));
};

/** Show a derived value again where the field that overruled it was emptied. */
const onChange = (/** @type {Event} */ event) => {
  if (!isEdit(event) || !follows) return;
  const { name, type, value } = event.target;
  if (type === "file") { showPicker(event.target).then(() => storeRecording(event.target)); return; }
  if (history.state?.craft !== true) history.replaceState({ craft: true, carried }, "");
  if (!value && form.dataset.derived?.split(" ").includes(name)) fill();
};

const start = async () => {
  const craft = readCraft();
  const parameters = new URLSearchParams(location.search);
  const hasRecordings = Object.keys(await recordingsHere()).length > 0;
  if (location.hash === MINE) carried = [...parameters.keys()];
  else if (history.state?.craft) carried = history.state.carried ?? [];
  const isMine = "example" in form.dataset || location.hash === MINE || history.state?.craft === true;
  follows = isMine || isEmpty(craft);
  rememberRows();
  if (isMine && (!isEmpty(craft) || hasRecordings)) await fill(parameters);
  else if (!follows) offer();
  showChoosers();
};

/** Links to the next calculators carry figures; the craft fills in the rest. */
const markLinks = () => {
  for (const link of document.querySelectorAll("a[data-next]")) link.hash = MINE;
};

export const connect = () => {
  document.addEventListener("input", onEdit);
  document.addEventListener("change", onEdit);
  document.addEventListener("change", onChange);
  form.addEventListener("columnschosen", (event) => { if (follows) storeRecording(event.target); submit(true); });
  form.addEventListener("formreplaced", () => { rememberRows(); showChoosers(); });
  form.addEventListener("rowremoved", ({ detail }) => {
    if (!follows) return;
    storeTable(detail);
    renumberRecordings(detail);
  });
  onResults(markLinks);
  markLinks();
  onCraft((_, elsewhere) => { if (elsewhere && follows) fill(new URLSearchParams()); });
  addEventListener("craftreplaced", () => { carried = []; fill(new URLSearchParams()); });
  addEventListener("pageshow", ({ persisted }) => { if (persisted && follows) fill(); });
  start();
};
