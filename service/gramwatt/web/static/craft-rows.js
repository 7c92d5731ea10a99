// The rows of the tables in a form, and the rows of the craft that they show.
import { addRow, freeName, putCell, removeRow, rowsIn, toCell } from "./craft-cells.js";
import { rowLabels } from "./craft.js";
import { changeCraft, readCraft } from "./craft-store.js";
import { form } from "./form.js";
import { removeRowRecordings } from "./recording-store.js";
import { rowsOf } from "./rows.js";

/**
 * @typedef {{table: string, index: number, columns: string[] | null}} Origin a row of the craft, and the columns that
 *   may be changed; null: all
 */

/** @type {WeakMap<Element, Origin>} */
const origins = new WeakMap();

/** @returns {HTMLElement[]} the tables of the form */
export const tables = () => [...form.querySelectorAll("[data-table]")];

const tableOf = (/** @type {string} */ name) => tables().find(({ dataset }) => dataset.table === name);

/** @returns {import("./craft-store.js").Cell | undefined} the value of a field */
export const cellOf = (/** @type {string} */ name, /** @type {import("./craft-cells.js").FieldKind} */ kind) => {
  const text = (/** @type {string} */ each) => form.elements[each]?.value ?? "";
  return toCell(kind, text(name), text(`${name}.unit`), text("decimal") || ".");
};

/** Say where rows come from that only stand here, instead of a button to remove them, and which row has the same name. */
const markDerived = (/** @type {Element} */ table) => {
  const rows = rowsOf(table);
  const names = rows.map((row) => (origins.get(row)?.columns ? "" : nameOf(row).toLowerCase().replace(/\s*\d+$/, "")));
  table.querySelector("p.origin")?.remove();
  for (const row of rows) {
    const { table: from, columns } = origins.get(row) ?? {};
    if (!columns) continue;
    const twin = from ? names.indexOf(rowLabels[from]) : -1;
    const make = (tag, textContent) => Object.assign(document.createElement(tag), { className: "origin", textContent });
    row.querySelector("[name=remove]")?.replaceWith(make("span", `from ${from || "your craft"}`));
    if (twin >= 0) table.querySelector(".table-actions").before(make("p", `Row ${rows.indexOf(row) + 1} comes from ${from}: is it row ${twin + 1} again?`));
  }
};

const nameOf = (/** @type {Element} */ row) => row.querySelector("[name$='.name']")?.value.trim() ?? "";

/** Remember which row of the craft each row of the form was filled from. */
export const rememberOrigins = () => {
  const sent = JSON.parse(form.dataset.origins ?? "{}");
  for (const table of tables()) {
    const name = table.dataset.table;
    rowsOf(table).forEach((row, at) => {
      const [from, index, columns] = sent[name]?.[at] ?? [];
      if (from === undefined) return;
      origins.set(row, { table: from, index, columns: from === name ? null : columns });
    });
    markDerived(table);
  }
};

/** @returns {Origin | undefined} the row of the craft that a row of the form shows */
export const originOf = (/** @type {string} */ table, /** @type {number} */ at) => origins.get(rowsOf(tableOf(table))[at]);

/**
 * Put the rows of a table that the craft does not have yet into it. An example becomes the craft's own table.
 * @param {string} name
 * @param {{[column: string]: import("./craft-cells.js").FieldKind}} columns
 */
const addNewRows = (name, columns) => {
  for (const [at, row] of rowsOf(tableOf(name)).entries()) {
    if (origins.has(row)) continue;
    const cells = Object.entries(columns).filter(([, { kind }]) => kind !== "samples").map(([column, kind]) => [column, cellOf(`${name}.${at}.${column}`, kind)]);
    const filled = Object.fromEntries(cells.filter(([, cell]) => cell !== undefined));
    const hasFile = [...row.querySelectorAll("input[type=file]")].some(({ files }) => files.length);
    if (!Object.keys(filled).length && !hasFile) continue;
    if (hasFile) filled.name ??= freeName(rowsIn(readCraft(), name), rowLabels[name], at);
    changeCraft((craft) => origins.set(row, { table: name, index: addRow(craft, name, filled), columns: null }));
  }
};

/**
 * Put what was typed into a row into the craft.
 * @param {string} field such as parts.0.mass
 * @param {{[column: string]: import("./craft-cells.js").FieldKind}} columns
 */
export const storeCell = (field, columns) => {
  const [name, at, column] = field.split(".");
  const row = rowsOf(tableOf(name))[Number(at)];
  const origin = origins.get(row);
  if (!origin) return addNewRows(name, columns);
  if (columns[column].kind === "samples" || (origin.columns && !origin.columns.includes(column))) return undefined;
  return changeCraft((craft) => {
    if (rowsIn(craft, origin.table)[origin.index]) putCell(craft, origin.table, origin.index, column, cellOf(field, columns[column]));
  });
};

/** Remove from the craft the row that a row of the form has shown. */
export const forgetRow = async (/** @type {Element} */ row) => {
  const origin = origins.get(row);
  if (!origin || origin.columns) return;
  changeCraft((craft) => removeRow(craft, origin.table, origin.index));
  for (const table of tables()) {
    for (const other of rowsOf(table)) {
      const moved = origins.get(other);
      if (moved?.table === origin.table && moved.index > origin.index) moved.index -= 1;
    }
  }
  tables().forEach(markDerived);
  await removeRowRecordings(origin.table, origin.index, rowsIn(readCraft(), origin.table).length);
};
