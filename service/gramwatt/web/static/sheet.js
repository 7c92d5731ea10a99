// Makes a page answer while one types, and its address follow. Without it each answer is a new page.
"use strict";
{
  const form = document.getElementById("question");
  const byPost = form.method === "post";
  const LONGEST = 7500;
  let asked = 0;
  let waiting = 0;
  let replacing = false;
  let shown = location.pathname + location.search;

  const fields = (submitter) => {
    const data = new FormData(form, submitter);
    const query = new URLSearchParams();
    for (const [name, value] of data) {
      if (typeof value !== "string" || value === "") continue;
      if (name === "decimal" && value === ".") continue;
      if (name.endsWith(".unit") && isUsual(name)) continue;
      query.append(name, value);
    }
    return query;
  };

  const isUsual = (name) => {
    const select = form.elements[name];
    const field = form.elements[name.slice(0, -".unit".length)];
    return (field && !field.value) || (select instanceof HTMLSelectElement && select.options[0].value === select.value);
  };

  const path = form.getAttribute("action").split("#")[0];
  // With every field emptied the decimal sign alone says that this is no first visit.
  const address = (submitter) => `${path}?${fields(submitter).toString() || "decimal=."}`;

  /** Ask for the page and take its answer; `whole` takes its form too. */
  const ask = async (url, { body = null, whole = false } = {}) => {
    const mine = ++asked;
    document.body.classList.add("busy");
    let found;
    try {
      const response = await fetch(url, { method: body ? "POST" : "GET", body, headers: { Accept: "text/html" } });
      if (response.status === 413) return say("This is more than can be sent at once; what you typed is still here.");
      if (!response.ok) throw new Error(response.statusText);
      found = new DOMParser().parseFromString(await response.text(), "text/html");
    } catch {
      if (mine === asked) say("No answer from the service; what you typed is still here. Try again in a while.");
      return;
    } finally {
      if (mine === asked) document.body.classList.remove("busy");
    }
    if (mine !== asked) return;
    const focused = document.activeElement?.closest("#answer") ? document.activeElement.name : null;
    const opened = [...document.querySelectorAll("#answer details")].map(({ open }) => open);
    for (const id of ["answer", "working", "elsewhere"]) {
      const here = document.getElementById(id);
      const there = found.getElementById(id);
      if (here && there) here.replaceWith(document.importNode(there, true));
    }
    [...document.querySelectorAll("#answer details")].forEach((details, at) => { details.open = opened[at] ?? false; });
    if (focused) form.elements[focused]?.focus({ preventScroll: true });
    const other = found.getElementById("question");
    if (whole) {
      replacing = true; // a field that goes while it was being edited says that it changed
      document.activeElement?.blur();
      form.replaceChildren(...document.importNode(other, true).childNodes);
      replacing = false;
    } else {
      mark(other);
    }
    const figure = document.querySelector("#answer .figure");
    document.getElementById("told").textContent = figure ? figure.textContent.replace(/\s+/g, " ").trim() : "";
    copies();
  };

  /** Faults, and what was assumed, beside the fields; the fields themselves stay as they are. */
  const mark = (other) => {
    const wrong = document.getElementById("wrong");
    const now = other.querySelector("#wrong");
    if (wrong.textContent !== now.textContent) wrong.replaceChildren(...document.importNode(now, true).childNodes);
    for (const fault of form.querySelectorAll(".fault")) fault.remove();
    for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
    for (const there of other.querySelectorAll("input[id], select[id], textarea[id], fieldset.table[id]")) {
      const here = document.getElementById(there.id);
      if (!here) continue;
      for (const name of ["placeholder", "aria-invalid", "aria-describedby"]) {
        if (there.hasAttribute(name)) here.setAttribute(name, there.getAttribute(name));
        else here.removeAttribute(name);
      }
      const from = there.matches("fieldset") ? there : there.closest(".field, .cell");
      const to = here.matches("fieldset") ? here : here.closest(".field, .cell");
      for (const fault of from?.querySelectorAll(":scope > .fault") ?? []) to.append(document.importNode(fault, true));
    }
    for (const more of other.querySelectorAll("details.more[open]")) form.querySelector("details.more").open = more.open;
  };

  const say = (text) => {
    const box = document.createElement("div");
    box.className = "wrong";
    box.setAttribute("role", "alert");
    box.append(Object.assign(document.createElement("p"), { textContent: text }));
    document.getElementById("wrong").replaceChildren(box);
  };

  const refresh = (push) => {
    clearTimeout(waiting);
    if (byPost) {
      const data = new FormData(form);
      return ask(path, { body: data });
    }
    const url = address();
    if (url.length > LONGEST) return ask(path, { body: fields() }); // the address stays as it was
    if (url !== location.pathname + location.search) history[push ? "pushState" : "replaceState"]({ ours: true }, "", url);
    shown = url;
    return ask(url);
  };

  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    event.preventDefault();
    if (button?.name === "add") return add(button.value);
    if (button?.name === "remove") return remove(button);
    refresh(true).then(() => {
      const first = form.querySelector("[aria-invalid]");
      if (first) first.focus();
      else if (matchMedia("(max-width: 60rem)").matches) document.getElementById("answer").scrollIntoView();
    });
  });

  document.addEventListener("input", (event) => {
    if (replacing || event.target.form !== form || event.target.type === "file") return;
    clearTimeout(waiting);
    if (!byPost) waiting = setTimeout(() => refresh(false), 350);
  });
  document.addEventListener("change", (event) => {
    if (!replacing && event.target.form === form) refresh(true);
  });
  addEventListener("popstate", () => {
    const url = location.pathname + location.search; // a link to a place on the page changes neither
    if (byPost || url === shown) return;
    clearTimeout(waiting);
    shown = url;
    ask(url, { whole: true });
  });

  const number = (table) => {
    [...table.querySelectorAll(":scope > ol > .row")].forEach((row, at) => {
      row.querySelector(".place").textContent = at + 1;
      const out = row.querySelector(".out");
      out.setAttribute("aria-label", out.getAttribute("aria-label").replace(/(\d+|#)$/, at + 1));
      for (const node of row.querySelectorAll("[id], [name], [for], [value]")) {
        for (const name of ["id", "name", "for", "aria-describedby", ...(node.name === "remove" ? ["value"] : [])]) {
          const text = node.getAttribute(name);
          if (text) node.setAttribute(name, text.replace(new RegExp(`^(${table.dataset.table})\\.(\\d+|#)`), `$1.${at}`));
        }
      }
    });
  };

  const add = (name) => {
    const table = form.querySelector(`[data-table="${name}"]`);
    const row = document.importNode(table.querySelector(":scope > template").content, true).firstElementChild;
    table.querySelector("ol").append(row);
    number(table);
    row.querySelector("input, select").focus();
  };

  const remove = (button) => {
    const table = button.closest("[data-table]");
    const row = button.closest(".row");
    const next = row.nextElementSibling || row.previousElementSibling;
    row.remove();
    number(table);
    (next?.querySelector("input") ?? table.querySelector("[name=add]")).focus();
    refresh(true);
  };

  /** A button beside each piece of code that copies it. */
  const copies = () => {
    if (!navigator.clipboard) return;
    for (const code of document.querySelectorAll(".snippet pre")) {
      const button = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: "Copy" });
      button.setAttribute("aria-label", `Copy: ${code.closest(".snippet").querySelector("h3").textContent}`);
      button.addEventListener("click", async () => {
        await navigator.clipboard.writeText(code.textContent);
        button.textContent = "Copied";
      });
      code.before(button);
    }
  };

  // Where a comma is the decimal sign, an example is shown, and asked for, with commas.
  const decimal = form.elements.decimal;
  if (!location.search && (1.5).toLocaleString().includes(",") && decimal.value === ".") {
    decimal.value = ",";
    for (const field of form.querySelectorAll("input.quantity")) field.value = field.value.replace(".", ",");
    for (const field of form.querySelectorAll("textarea:not(.recording)")) field.value = field.value.replaceAll(", ", "; ").replaceAll(".", ",");
    if (!byPost) ask(address());
  }
  copies();
}
