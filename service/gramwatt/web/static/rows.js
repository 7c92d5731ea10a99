// The tables of a page: adds and removes rows of a form, and marks what scrolls.

/** @param {Element} table */
export const rowsOf = (table) => [...table.querySelectorAll(".row")];

/**
 * Give the fields, labels and buttons of each row the number of its place.
 * @param {HTMLElement} table
 */
const renumberRows = (table) => {
  const prefix = new RegExp(`^(${table.dataset.table})\\.(\\d+|#)`);
  rowsOf(table).forEach((row, index) => {
    for (const number of row.querySelectorAll(".row-number")) number.textContent = String(index + 1);
    for (const node of row.querySelectorAll("[aria-label]")) {
      node.setAttribute("aria-label", node.getAttribute("aria-label").replace(/(\d+|#)$/, String(index + 1)));
    }
    for (const node of row.querySelectorAll("[id], [name], [for]")) {
      for (const name of ["id", "name", "for", "aria-describedby", ...(node.name === "remove" ? ["value"] : [])]) {
        const text = node.getAttribute(name);
        if (text) node.setAttribute(name, text.replace(prefix, `$1.${index}`));
      }
    }
  });
};

/** Offer the names of a table's rows where another row names one. */
export const updateRowNames = (/** @type {HTMLFormElement} */ form) => {
  for (const menu of form.querySelectorAll("select[data-row-of]")) {
    const fields = [...form.querySelectorAll(`[name^="${menu.dataset.rowOf}."][name$=".name"]`)];
    const names = [...new Set(fields.map(({ value }) => value.trim()).filter(Boolean))];
    const chosen = menu.value;
    if (chosen && !names.includes(chosen)) names.push(chosen);
    menu.replaceChildren(menu.options[0], ...names.map((name) => new Option(name, name, false, name === chosen)));
  }
};

/**
 * Let fields that name a row follow the new name of it, unless another row still has the old one.
 * @param {HTMLInputElement} field the name of a row
 * @returns {{table: string, from: string, to: string} | null} the change
 */
export const followName = (field) => {
  const [table] = field.name.split(".");
  const [from, to] = [field.defaultValue.trim(), field.value.trim()];
  if (!to || from === to) return null;
  field.defaultValue = field.value;
  const others = [...field.form.querySelectorAll(`[name^="${table}."][name$=".name"]`)];
  if (!from || others.some(({ value }) => value.trim() === from)) return null;
  const following = [...field.form.querySelectorAll(`select[data-row-of="${table}"]`)].filter(({ value }) => value === from);
  updateRowNames(field.form);
  for (const menu of following) menu.value = to;
  updateRowNames(field.form); // without the old name
  return { table, from, to };
};

/** Mark each table that is wider than its place, so that the page says that it scrolls. */
export const markOverflow = () => {
  for (const box of document.querySelectorAll(".scrollable")) {
    box.toggleAttribute("data-overflows", box.scrollWidth > box.clientWidth + 1);
  }
};

/**
 * Append an empty row.
 * @param {HTMLElement} table
 * @returns {Element} the row
 */
export const addRow = (table) => {
  const row = document.importNode(table.querySelector("template").content, true).firstElementChild;
  const rows = rowsOf(table);
  (rows.at(-1)?.parentElement ?? table.querySelector("ol, tbody")).append(row);
  renumberRows(table);
  updateRowNames(table.closest("form"));
  markOverflow();
  return row;
};

/**
 * Remove the row of a button; return the control that gets the focus then.
 * @param {Element} button
 */
export const removeRow = (button) => {
  const table = button.closest("[data-table]");
  const row = button.closest(".row");
  const neighbour = row.nextElementSibling ?? row.previousElementSibling;
  row.remove();
  renumberRows(table);
  updateRowNames(table.closest("form"));
  markOverflow();
  return neighbour?.querySelector("input") ?? table.querySelector("[name=add]");
};
