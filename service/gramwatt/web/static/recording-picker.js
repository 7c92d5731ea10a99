// The recordings of a form: the columns of a file, what they are recognised as, and a picker where they are not.
import { NUMBER } from "./craft-cells.js";

/**
 * @typedef {{names: string[], rows: string[][], separator: string}} Preview
 */

const SEPARATORS = [",", ";", "\t"];
const MAX_PREAMBLE = 200; // lines before the header

/**
 * Split a line of CSV into its cells.
 * @param {string} line
 * @param {string} separator
 */
export const splitLine = (line, separator) => {
  if (!line.includes('"')) return line.split(separator);
  const cells = [];
  let cell = "";
  let quoted = false;
  for (let at = 0; at < line.length; at += 1) {
    const sign = line[at];
    if (sign === '"' && quoted && line[at + 1] === '"') { cell += '"'; at += 1; }
    else if (sign === '"') quoted = !quoted;
    else if (sign === separator && !quoted) { cells.push(cell); cell = ""; }
    else cell += sign;
  }
  cells.push(cell);
  return cells;
};

const UNIT = /\s*(?:\[([^\]]*)\]|\(([^)]*)\))\s*$/; // in brackets or parentheses, after the name

/** @returns {string} a column's name without the unit after it */
export const bareName = (/** @type {string} */ name) => name.trim().replace(UNIT, "");

/** @returns {string} the unit after a column's name, "" without one */
export const unitOf = (/** @type {string} */ name) => { const found = UNIT.exec(name); return (found?.[1] ?? found?.[2] ?? "").trim(); };

/**
 * Return the column that has the name of a channel, as the service finds it; undefined where none or several have.
 * @param {string[]} names
 * @param {string} wanted
 */
export const matchColumn = (names, wanted) => {
  const accepted = [wanted.trim(), bareName(wanted)];
  const lower = accepted.map((each) => each.toLowerCase());
  for (const test of [
    (name) => name.trim() === wanted.trim(),
    (name) => [name.trim(), bareName(name)].some((each) => accepted.includes(each)),
    (name) => [name.trim(), bareName(name)].some((each) => lower.includes(each.toLowerCase())),
  ]) {
    const found = names.filter(test);
    if (found.length) return found.length === 1 ? found[0] : undefined;
  }
  return undefined;
};

/**
 * Return the header of a CSV text and its first rows. The header is the first line with the time.
 * @param {string} text
 * @param {string} time the name of the channel, or of the column that is chosen for it
 * @param {number} [count]
 * @returns {Preview | null} null where the text is empty, or no CSV
 */
export const previewCsv = (text, time, count = 10) => {
  if (text.includes("\0")) return null; // binary
  const lines = text.replace(/^\uFEFF/, "").split(/\r\n|\n|\r/);
  let header = -1;
  let separator = "";
  for (const [at, line] of lines.slice(0, MAX_PREAMBLE).entries()) {
    separator = SEPARATORS.find((each) => matchColumn(splitLine(line, each), time)) ?? "";
    if (separator) { header = at; break; }
  }
  if (header < 0) { // else the first of the lines with most cells
    const widths = lines.slice(0, MAX_PREAMBLE).map((line) => (line.trim() ? Math.max(...SEPARATORS.map((each) => splitLine(line, each).length)) : 0));
    header = widths.indexOf(Math.max(...widths));
    if (!widths[header] || /^\s*[{[]/.test(lines[header])) return null;
    separator = SEPARATORS.find((each) => splitLine(lines[header], each).length === widths[header]);
  }
  const rows = lines.slice(header + 1).filter((line) => line.trim()).slice(0, count);
  return { names: splitLine(lines[header], separator).map((name) => name.trim()), rows: rows.map((row) => splitLine(row, separator)), separator };
};

/** @returns {string | number | null} a cell of a recording as JSON */
const toJson = (/** @type {string | undefined} */ text, /** @type {string} */ decimal) => {
  const cell = text?.trim();
  if (!cell) return null;
  const number = decimal === "," ? cell.replace(",", ".") : cell;
  return NUMBER.test(number) ? Number(number) : cell;
};

/**
 * Return a recording as lists by the name of the channel. Columns that were not chosen keep their names.
 * @param {string} text CSV, JSON of such lists, or NDJSON
 * @param {string} time the channel that the header names, which is the time
 * @param {{[channel: string]: string}} columns the column that was chosen for each channel, with its unit
 * @param {string} [decimal] the decimal sign of CSV
 */
export const toLists = (text, time, columns, decimal = ".") => {
  const preview = previewCsv(text, columns[time] ?? time, Infinity);
  if (!preview) return listsOfJson(text);
  const channelOf = new Map(Object.entries(columns).map(([channel, column]) => {
    const unit = unitOf(column);
    return [matchColumn(preview.names, column), unit ? `${channel} [${unit}]` : channel];
  }));
  return Object.fromEntries(preview.names.map((name, at) => [channelOf.get(name) ?? name, preview.rows.map((row) => toJson(row[at], decimal))]).filter(([name]) => name));
};

/** Return the lists of JSON or NDJSON; none where the text is neither. */
const listsOfJson = (/** @type {string} */ text) => {
  try { return JSON.parse(text); } catch { /* it may be NDJSON */ }
  try {
    const rows = text.split("\n").filter((line) => line.trim()).map((line) => JSON.parse(line));
    const names = [...new Set(rows.flatMap(Object.keys))];
    return Object.fromEntries(names.map((name) => [name, rows.map((row) => row[name] ?? null)]));
  } catch { return {}; }
};

/** @returns {string} lists by the name of the channel as CSV */
export const toCsv = (/** @type {{[name: string]: unknown[]}} */ lists) => {
  const names = Object.keys(lists);
  const quote = (cell) => (/[",\n]/.test(String(cell)) ? `"${String(cell).replaceAll('"', '""')}"` : String(cell ?? ""));
  const length = Math.max(0, ...Object.values(lists).map((values) => values.length));
  const rows = Array.from({ length }, (_, at) => names.map((name) => quote(lists[name][at])).join(","));
  return [names.map(quote).join(","), ...rows, ""].join("\n");
};

/**
 * @typedef {{name: string, label: string, unit: string, units: string[], required: boolean}} Channel
 */

const HEAD = 65_536; // bytes of a file that are read for the preview

/** @returns {Channel[]} */
const channelsOf = (/** @type {HTMLInputElement} */ input) => JSON.parse(input.dataset.channels);

const make = (tag, properties = {}, ...children) => {
  const node = Object.assign(document.createElement(tag), properties);
  node.append(...children);
  return node;
};

/** @returns {string} the name of the field with the column of a channel */
const columnField = (/** @type {HTMLInputElement} */ input, /** @type {string} */ channel) => `${input.name}.${channel}_column`;

/** @returns {{[channel: string]: string}} the columns that were chosen for channels */
export const chosenColumns = (/** @type {HTMLInputElement} */ input) => {
  const fields = input.parentElement.querySelectorAll("input[type=hidden][data-channel]");
  return Object.fromEntries([...fields].filter(({ value }) => value).map(({ dataset, value }) => [dataset.channel, value]));
};

/** @returns {string} the channel of the time, which the header of a recording names */
export const timeChannel = (/** @type {HTMLInputElement} */ input) => channelsOf(input)[0].name;

/** Put a file into a control, as if it had been chosen. */
export const setFile = (/** @type {HTMLInputElement} */ input, /** @type {File} */ file) => {
  const transfer = new DataTransfer();
  transfer.items.add(file);
  input.files = transfer.files;
};

const table = (/** @type {Preview} */ preview) => make(
  "div", { className: "scrollable", tabIndex: 0, role: "region", ariaLabel: "First rows of the recording" },
  make("table", {},
    make("thead", {}, make("tr", {}, ...preview.names.map((name) => make("th", { scope: "col", textContent: name })))),
    make("tbody", {}, ...preview.rows.map((row) => make("tr", {}, ...preview.names.map((_, at) => make("td", { textContent: row[at] ?? "" })))))),
);

/**
 * Make the two menus of a channel, its column and its unit, and the field that holds both.
 * @param {HTMLInputElement} input
 * @param {Channel} channel
 * @param {string[]} names
 * @param {string} chosen
 */
const columnMenus = (input, channel, names, chosen) => {
  const hidden = make("input", { type: "hidden", name: columnField(input, channel.name), value: chosen });
  hidden.dataset.channel = channel.name;
  const found = matchColumn(names, chosen || channel.name) ?? "";
  const knownUnit = (name) => (channel.units.includes(unitOf(name)) ? unitOf(name) : "");
  const option = (value, text, selected) => make("option", { value, textContent: text, selected });
  const column = make("select", { ariaLabel: `Column of ${channel.label}` }, option("", "none", !found),
    ...names.filter(Boolean).map((name) => option(name, name, name === found)));
  const unit = make("select", { className: "unit", ariaLabel: `Unit of ${channel.label}` },
    ...channel.units.map((each) => option(each, each, each === (unitOf(chosen) || knownUnit(found) || channel.unit))));
  const change = () => {
    const matched = matchColumn(names, channel.name) === column.value && !unitOf(chosen);
    const usual = unit.value === (unitOf(column.value) || channel.unit);
    const name = knownUnit(column.value) ? bareName(column.value) : column.value;
    hidden.value = !column.value || (matched && usual) ? "" : `${name} [${unit.value}]`;
    input.dispatchEvent(new CustomEvent("columnschosen", { bubbles: true }));
  };
  for (const menu of [column, unit]) menu.addEventListener("input", (event) => event.stopPropagation());
  column.addEventListener("change", (event) => { event.stopPropagation(); unit.value = knownUnit(column.value) || unit.value; change(); });
  unit.addEventListener("change", (event) => { event.stopPropagation(); change(); });
  return make("div", { className: "column-menus" }, make("span", { className: "label", textContent: channel.label }), column, unit, hidden);
};

/**
 * Show the picker of a recording, open where columns are missing.
 * @param {HTMLInputElement} input
 * @param {{[channel: string]: string}} chosen the columns that were chosen before
 */
export const showPicker = async (input, chosen = {}) => {
  const holder = input.parentElement;
  holder.querySelector(".columns-picker")?.remove();
  const [file] = input.files;
  if (!file) return;
  const channels = channelsOf(input);
  const preview = previewCsv(await file.slice(0, HEAD).text(), chosen[channels[0].name] ?? channels[0].name);
  if (!preview || input.files[0] !== file) return;
  const found = channels.filter(({ name }) => matchColumn(preview.names, chosen[name] ?? name));
  const isKnown = found.includes(channels[0]) && found.length > 1;
  const text = isKnown ? `Columns: ${found.map(({ label }) => label.toLowerCase()).join(", ")}` : "Choose the columns of this recording";
  const picker = make("details", { className: "columns-picker", open: !isKnown },
    make("summary", { textContent: text }),
    ...channels.map((channel) => columnMenus(input, channel, preview.names, chosen[channel.name] ?? "")),
    table(preview));
  holder.querySelector(".columns-picker")?.remove();
  input.after(picker);
};
