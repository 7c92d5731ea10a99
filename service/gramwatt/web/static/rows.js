// Adds and removes rows of the tables in a form.

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
    for (const node of row.querySelectorAll("[id], [name], [for], [value]")) {
      for (const name of ["id", "name", "for", "aria-describedby", ...(node.name === "remove" ? ["value"] : [])]) {
        const text = node.getAttribute(name);
        if (text) node.setAttribute(name, text.replace(prefix, `$1.${index}`));
      }
    }
  });
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
  return neighbour?.querySelector("input") ?? table.querySelector("[name=add]");
};
