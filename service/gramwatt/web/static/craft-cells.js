// Typed texts as cells of the craft, and the rows of the craft that stand for single inputs.

/**
 * @typedef {import("./craft-store.js").Craft} Craft
 * @typedef {import("./craft-store.js").Cell} Cell
 * @typedef {import("./craft-store.js").Row} Row
 * @typedef {{kind: string, unit?: string, columns?: {[name: string]: FieldKind}}} FieldKind
 * @typedef {{table: string, stands_for: {[input: string]: string}}} Chooser
 * @typedef {{[member: string]: Chooser}} Choosers
 */

const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,3})?$/i;
const WITHOUT_UNIT = /^[+-]?[\d.]+\s*(±|\+?\/-|\+-)\s*[\d.]+$/;
const NUMBERS_ONLY = /^\s*[\d.,+-]+(\s+[\d.,+-]+)*\s*$/;

/**
 * Return typed text as a JSON cell, as the service reads a form; undefined where nothing was typed.
 * @param {FieldKind} kind
 * @param {string} text
 * @param {string} unit the unit beside the field
 * @param {string} decimal the decimal sign of the form
 * @returns {Cell | undefined}
 */
export const toCell = (kind, text, unit = "", decimal = ".") => {
  const typed = text.trim();
  if (!typed) return undefined;
  if (kind.kind === "flag") return { true: true, false: false }[typed] ?? typed;
  if (kind.kind === "series") {
    const parts = typed.split(decimal === "," ? /[;\n]+/ : /[;,\n]+/);
    const items = parts.flatMap((part) => (NUMBERS_ONLY.test(part) ? part.trim().split(/\s+/) : [part]));
    return items.filter((item) => item.trim()).map((item) => toCell({ ...kind, kind: "quantity" }, item, unit, decimal));
  }
  if (kind.kind !== "quantity" && kind.kind !== "count") return typed;
  const number = decimal === "," ? typed.replaceAll(",", ".") : typed;
  const hasOtherUnit = Boolean(unit) && unit !== kind.unit;
  if (NUMBER.test(number)) return hasOtherUnit ? `${number} ${unit}` : Number(number);
  return hasOtherUnit && WITHOUT_UNIT.test(number) ? `${number} ${unit}` : number;
};

/** @returns {Row[]} the rows of a table of the craft */
export const rowsIn = (/** @type {Craft} */ craft, /** @type {string} */ table) => {
  const rows = craft[table];
  return Array.isArray(rows) ? rows.filter((row) => row && typeof row === "object") : [];
};

/** @returns {string} the name that a row without one has: "Pack 2" */
export const defaultName = (/** @type {string} */ chooser, /** @type {number} */ index) => {
  const words = chooser.replaceAll("_", " ");
  return `${words[0].toUpperCase()}${words.slice(1)} ${index + 1}`;
};

/** @returns {number} the place of the chosen row: that of the name, else the first */
export const chosenIndex = (/** @type {Row[]} */ rows, /** @type {string | undefined} */ name) => Math.max(0, rows.findIndex((row) => row.name === name));

/**
 * Return the chooser and column that hold an input: that of a chosen row which has it, else that of the first
 * table with rows, else of the first table. Null: the input is a member of the craft.
 * @param {Craft} craft
 * @param {Choosers} choosers
 * @param {{[chooser: string]: string}} chosen
 * @param {string} input
 * @returns {{chooser: string, table: string, column: string, index: number} | null}
 */
export const placeOf = (craft, choosers, chosen, input) => {
  const places = Object.entries(choosers).filter(([, { stands_for }]) => input in stands_for).map(([chooser, { table, stands_for }]) => {
    const rows = rowsIn(craft, table);
    return { chooser, table, column: stands_for[input], index: chosenIndex(rows, chosen[chooser]), rows };
  });
  const place = places.find(({ rows, index, column }) => rows[index] && column in rows[index]) ?? places.find(({ rows }) => rows.length) ?? places[0];
  if (!place) return null;
  const { chooser, table, column, index } = place;
  return { chooser, table, column, index };
};

/** Set a member of an object, or remove it where there is no value. */
const setOrDelete = (/** @type {Row} */ object, /** @type {string} */ name, /** @type {Cell | undefined} */ value) => {
  if (value === undefined) delete object[name]; else object[name] = value;
};

/**
 * Put a single input into the craft: into the chosen row that stands for it, or the first one that this makes.
 * @param {Craft} craft
 * @param {Choosers} choosers
 * @param {{[chooser: string]: string}} chosen
 * @param {string} input
 * @param {Cell | undefined} cell
 */
export const putInput = (craft, choosers, chosen, input, cell) => {
  const place = placeOf(craft, choosers, chosen, input);
  if (!place) return setOrDelete(craft, input, cell);
  const rows = rowsIn(craft, place.table);
  if (!rows.length) {
    if (cell === undefined) return;
    rows.push({ name: defaultName(place.chooser, 0) });
  }
  setOrDelete(rows[place.index], place.column, cell);
  craft[place.table] = rows;
};

/**
 * Put the rows of a table into the craft. Columns that a page does not show stay as they were.
 * @param {Craft} craft
 * @param {string} table
 * @param {{cells: {[column: string]: Cell | undefined}, before: Row}[]} rows what the page shows, and the row that it was filled from
 * @param {string[]} columns the columns that the page shows
 */
export const putRows = (craft, table, rows, columns) => {
  const kept = rows.map(({ cells, before }) => {
    const row = Object.fromEntries(Object.entries(before).filter(([name]) => !columns.includes(name)));
    for (const column of columns) setOrDelete(row, column, cells[column]);
    return row;
  }).filter((row) => Object.keys(row).length);
  setOrDelete(craft, table, kept.length ? kept : undefined);
};
