// Updates the results and the page's address while people type. Without this script each result is a new page.
"use strict";
{
  const form = document.getElementById("calculator");
  const byPost = form.method === "post";
  const MAX_ADDRESS = 7500; // characters; longer forms are sent by POST
  const TYPING_PAUSE = 350; // milliseconds without an edit, before the results are fetched
  const CHART_PAUSE = 500; // milliseconds after the results without an edit, before the chart is fetched
  const NARROW = matchMedia("(max-width: 36rem)");
  let lastRequest = 0;
  let timer = 0;
  let edits = 0;
  let replacing = false;
  let shownAddress = location.pathname + location.search;

  const query = (submitter) => {
    const parameters = new URLSearchParams();
    for (const [name, value] of new FormData(form, submitter)) {
      if (typeof value !== "string" || value === "") continue;
      if (name === "decimal" && value === ".") continue;
      if (name.endsWith(".unit") && isDefaultUnit(name)) continue;
      parameters.append(name, value);
    }
    return parameters;
  };

  const isDefaultUnit = (name) => {
    const select = form.elements[name];
    const field = form.elements[name.slice(0, -".unit".length)];
    return (field && !field.value) || (select instanceof HTMLSelectElement && select.options[0].value === select.value);
  };

  const path = form.getAttribute("action").split("#")[0];
  // When all fields are empty, the decimal sign shows the service that this is not a first visit.
  const address = (submitter) => `${path}?${query(submitter).toString() || "decimal=."}`;

  /** Fetch the part of the page that changes; `wholePage` fetches the page, to replace the form too. */
  const update = async (url, { body = null, wholePage = false } = {}) => {
    const number = ++lastRequest;
    document.body.classList.add("loading");
    let received;
    try {
      const target = wholePage ? url : `${url}${url.includes("?") ? "&" : "?"}part=results`;
      const response = await fetch(target, { method: body ? "POST" : "GET", body, headers: { Accept: "text/html" } });
      if (response.status === 413) return showMessage("This is too much to send at once. Your inputs are still here.");
      if (!response.ok) throw new Error(response.statusText);
      received = new DOMParser().parseFromString(await response.text(), "text/html");
    } catch {
      if (number === lastRequest) showMessage("The service does not respond. Your inputs are still here: try again later.");
      return;
    } finally {
      if (number === lastRequest) document.body.classList.remove("loading");
    }
    if (number !== lastRequest) return;
    const focused = document.activeElement?.closest("#results") ? document.activeElement.name : null;
    const opened = [...document.querySelectorAll("#results details")].map(({ open }) => open);
    const oldChart = document.querySelector("#results picture");
    for (const id of ["results", "working", "reuse"]) {
      const current = document.getElementById(id);
      const replacement = received.getElementById(id);
      if (current && replacement) current.replaceWith(document.importNode(replacement, true));
    }
    [...document.querySelectorAll("#results details")].forEach((details, index) => { details.open = opened[index] ?? false; });
    replaceChartLater(oldChart, number);
    if (focused) form.elements[focused]?.focus({ preventScroll: true });
    if (wholePage) {
      replacing = true; // a removed field that was being edited fires a change event
      document.activeElement?.blur();
      form.replaceChildren(...document.importNode(received.getElementById("calculator"), true).childNodes);
      replacing = false;
    } else {
      updateFieldStates(received);
    }
    const value = document.querySelector("#results .value");
    document.getElementById("status").textContent = value ? value.textContent.replace(/\s+/g, " ").trim() : "";
    addCopyButtons();
  };

  /** Keep the old chart until there was no edit for a while and the new chart is loaded. */
  const replaceChartLater = async (oldChart, number) => {
    const newChart = document.querySelector("#results picture");
    const image = newChart?.querySelector("img");
    if (!image || image.src.startsWith("data:")) return; // it came with the results
    if (!oldChart?.querySelector("img").naturalWidth) return; // never in view: the browser loads the new one when it is
    newChart.replaceWith(oldChart);
    const outdated = image.src !== oldChart.querySelector("img").src;
    oldChart.classList.toggle("outdated", outdated);
    if (!outdated) return;
    const editsBefore = edits;
    await new Promise((resolve) => { setTimeout(resolve, CHART_PAUSE); });
    if (number !== lastRequest || editsBefore !== edits) return;
    image.loading = "eager"; // a lazy image outside the document would never load
    await image.decode().catch(() => {});
    if (number === lastRequest) oldChart.replaceWith(newChart);
  };

  /** Show errors and assumed values beside the fields, which stay as they are. */
  const updateFieldStates = (received) => {
    const list = document.getElementById("errors");
    const newList = received.getElementById("errors");
    if (list.textContent !== newList.textContent) list.replaceChildren(...document.importNode(newList, true).childNodes);
    for (const error of form.querySelectorAll("p.error")) error.remove();
    const states = received.getElementById("field-states");
    const stateOf = new Map([...states.children].map((state) => [state.dataset.field, state]));
    for (const field of form.querySelectorAll("input[id], select[id], textarea[id], fieldset.table[id]")) {
      const errors = [...(stateOf.get(field.id)?.querySelectorAll("p.error") ?? [])];
      const parent = field.matches("fieldset") ? field : field.closest(".field, .cell");
      for (const error of errors) parent.append(document.importNode(error, true));
      if (parent === field) continue;
      const hints = (field.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => !/-error\d+$/.test(id));
      setAttribute(field, "aria-describedby", [...hints, ...errors.map(({ id }) => id)].join(" ").trim());
      setAttribute(field, "aria-invalid", errors.length ? "true" : "");
      if (field.matches("input:not([type=file])")) setAttribute(field, "placeholder", stateOf.get(field.id)?.dataset.assumed);
    }
    if ("open" in states.dataset) form.querySelector("details.extra")?.setAttribute("open", "");
  };

  const setAttribute = (node, name, value) => { if (value) node.setAttribute(name, value); else node.removeAttribute(name); };

  const showMessage = (text) => {
    const box = document.createElement("div");
    box.className = "errors";
    box.setAttribute("role", "alert");
    box.append(Object.assign(document.createElement("p"), { textContent: text }));
    document.getElementById("errors").replaceChildren(box);
  };

  const submit = (addToHistory) => {
    clearTimeout(timer);
    const url = address();
    if (byPost || url.length > MAX_ADDRESS) { // the address stays as it was, and the chart comes with the results
      const body = byPost ? new FormData(form) : query();
      body.append("shape", NARROW.matches ? "narrow" : "wide");
      return update(path, { body });
    }
    if (url !== location.pathname + location.search) history[addToHistory ? "pushState" : "replaceState"](null, "", url);
    shownAddress = url;
    return update(url);
  };

  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    event.preventDefault();
    if (button?.name === "add") return addRow(button.value);
    if (button?.name === "remove") return removeRow(button);
    submit(true).then(() => {
      const firstInvalid = form.querySelector("[aria-invalid]");
      if (firstInvalid) firstInvalid.focus();
      else if (matchMedia("(max-width: 60rem)").matches) document.getElementById("results").scrollIntoView();
    });
  });

  document.addEventListener("input", (event) => {
    if (replacing || event.target.form !== form || event.target.type === "file") return;
    edits += 1;
    clearTimeout(timer);
    if (!byPost) timer = setTimeout(() => submit(false), TYPING_PAUSE);
  });
  document.addEventListener("change", (event) => {
    if (!replacing && event.target.form === form) submit(true);
  });
  addEventListener("popstate", () => {
    const url = location.pathname + location.search; // a link within the page leaves both as they are
    if (byPost || url === shownAddress) return;
    clearTimeout(timer);
    shownAddress = url;
    update(url, { wholePage: true });
  });

  const renumberRows = (table) => {
    [...table.querySelectorAll(":scope > ol > .row")].forEach((row, index) => {
      row.querySelector(".row-number").textContent = index + 1;
      const button = row.querySelector(".remove-row");
      button.setAttribute("aria-label", button.getAttribute("aria-label").replace(/(\d+|#)$/, index + 1));
      for (const node of row.querySelectorAll("[id], [name], [for], [value]")) {
        for (const name of ["id", "name", "for", "aria-describedby", ...(node.name === "remove" ? ["value"] : [])]) {
          const text = node.getAttribute(name);
          if (text) node.setAttribute(name, text.replace(new RegExp(`^(${table.dataset.table})\\.(\\d+|#)`), `$1.${index}`));
        }
      }
    });
  };

  const addRow = (name) => {
    const table = form.querySelector(`[data-table="${name}"]`);
    const row = document.importNode(table.querySelector(":scope > template").content, true).firstElementChild;
    table.querySelector("ol").append(row);
    renumberRows(table);
    row.querySelector("input, select").focus();
  };

  const removeRow = (button) => {
    const table = button.closest("[data-table]");
    const row = button.closest(".row");
    const neighbour = row.nextElementSibling || row.previousElementSibling;
    row.remove();
    renumberRows(table);
    (neighbour?.querySelector("input") ?? table.querySelector("[name=add]")).focus();
    submit(true);
  };

  const addCopyButtons = () => {
    if (!navigator.clipboard) return;
    for (const code of document.querySelectorAll(".snippet pre")) {
      const button = Object.assign(document.createElement("button"), { type: "button", className: "secondary", textContent: "Copy" });
      button.setAttribute("aria-label", `Copy: ${code.closest(".snippet").querySelector("h3").textContent}`);
      button.addEventListener("click", async () => {
        await navigator.clipboard.writeText(code.textContent);
        button.textContent = "Copied";
      });
      code.before(button);
    }
  };

  // Where a comma is the decimal sign, the example is shown and sent with commas.
  const decimal = form.elements.decimal;
  if (!location.search && (1.5).toLocaleString().includes(",") && decimal.value === ".") {
    decimal.value = ",";
    for (const field of form.querySelectorAll("input.quantity")) field.value = field.value.replace(".", ",");
    for (const field of form.querySelectorAll("textarea:not(.recording)")) field.value = field.value.replaceAll(", ", "; ").replaceAll(".", ",");
    if (!byPost) update(address());
  }
  addCopyButtons();
}
