// Updates the answer while one types, and the page's address with it. Without this script each answer is a new page.
"use strict";
{
  const form = document.getElementById("question");
  const byPost = form.method === "post";
  const LONGEST = 7500;
  const SETTLED = 500; // milliseconds after an answer without an edit, before its chart is fetched
  const NARROW = matchMedia("(max-width: 36rem)");
  let asked = 0;
  let waiting = 0;
  let edits = 0;
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

  /** Fetch the part of the page that changes; `whole` fetches the page itself, for its form too. */
  const ask = async (url, { body = null, whole = false } = {}) => {
    const mine = ++asked;
    document.body.classList.add("busy");
    let found;
    try {
      const part = whole ? url : `${url}${url.includes("?") ? "&" : "?"}part=answer`;
      const response = await fetch(part, { method: body ? "POST" : "GET", body, headers: { Accept: "text/html" } });
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
    const chart = document.querySelector("#answer picture");
    for (const id of ["answer", "working", "elsewhere"]) {
      const here = document.getElementById(id);
      const there = found.getElementById(id);
      if (here && there) here.replaceWith(document.importNode(there, true));
    }
    [...document.querySelectorAll("#answer details")].forEach((details, at) => { details.open = opened[at] ?? false; });
    settle(chart, mine);
    if (focused) form.elements[focused]?.focus({ preventScroll: true });
    if (whole) {
      replacing = true; // a field that goes while it was being edited says that it changed
      document.activeElement?.blur();
      form.replaceChildren(...document.importNode(found.getElementById("question"), true).childNodes);
      replacing = false;
    } else {
      mark(found);
    }
    const figure = document.querySelector("#answer .figure");
    document.getElementById("told").textContent = figure ? figure.textContent.replace(/\s+/g, " ").trim() : "";
    copies();
  };

  /** Leave the last chart in its place until nothing was typed for a while and the new chart is there. */
  const settle = async (old, mine) => {
    const made = document.querySelector("#answer picture");
    const image = made?.querySelector("img");
    if (!image || image.src.startsWith("data:")) return; // it came with the answer
    if (!old?.querySelector("img").naturalWidth) return; // one that was never in view is fetched once it is
    made.replaceWith(old);
    old.classList.toggle("old", image.src !== old.querySelector("img").src);
    if (!old.classList.contains("old")) return;
    const before = edits;
    await new Promise((resolve) => { setTimeout(resolve, SETTLED); });
    if (mine !== asked || before !== edits) return;
    image.loading = "eager"; // it stands in no document while it is fetched
    await image.decode().catch(() => {});
    if (mine === asked) old.replaceWith(made);
  };

  /** Put what is wrong, and what was assumed, beside the fields; the fields themselves stay as they are. */
  const mark = (found) => {
    const wrong = document.getElementById("wrong");
    const now = found.getElementById("wrong");
    if (wrong.textContent !== now.textContent) wrong.replaceChildren(...document.importNode(now, true).childNodes);
    for (const fault of form.querySelectorAll(".fault")) fault.remove();
    const marks = found.getElementById("marks");
    const marked = new Map([...marks.children].map((each) => [each.dataset.field, each]));
    for (const field of form.querySelectorAll("input[id], select[id], textarea[id], fieldset.table[id]")) {
      const faults = [...(marked.get(field.id)?.querySelectorAll(".fault") ?? [])];
      const place = field.matches("fieldset") ? field : field.closest(".field, .cell");
      for (const fault of faults) place.append(document.importNode(fault, true));
      if (place === field) continue;
      const described = (field.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => !/-fault\d+$/.test(id));
      set(field, "aria-describedby", [...described, ...faults.map(({ id }) => id)].join(" ").trim());
      set(field, "aria-invalid", faults.length ? "true" : "");
      if (field.matches("input:not([type=file])")) set(field, "placeholder", marked.get(field.id)?.dataset.assumed);
    }
    if ("open" in marks.dataset) form.querySelector("details.more")?.setAttribute("open", "");
  };

  const set = (node, name, value) => { if (value) node.setAttribute(name, value); else node.removeAttribute(name); };

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
      data.append("shape", NARROW.matches ? "narrow" : "wide");
      return ask(path, { body: data });
    }
    const url = address();
    if (url.length > LONGEST) { // the address stays as it was, and the chart comes with the answer
      const data = fields();
      data.append("shape", NARROW.matches ? "narrow" : "wide");
      return ask(path, { body: data });
    }
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
    edits += 1;
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
