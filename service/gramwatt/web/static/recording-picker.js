// The recordings of a form: which file was chosen, and a picker for its columns where their names are not recognised.
import { bareName, matchColumn, previewCsv, unitOf } from "./recording-columns.js";

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

const table = (/** @type {import("./recording-columns.js").Preview} */ preview) => make(
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
