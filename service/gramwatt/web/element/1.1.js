// <gramwatt-calculator name="endurance" cells="6" capacity="1300" mean_power="200">: a calculator on any page.
//
// Attributes named like inputs give them; a table is JSON. Besides:
//   craft     URL of a craft document (JSON) that gives all other inputs; pack, propeller and flight name its rows
//   fields    names of the inputs that visitors may change, or "none"; by default those given and those required;
//             pack, propeller and flight are among them
//   results   names of the results to list; by default the first few
//   picture   shows a chart too; its value may be light or dark
//   service   URL of the service; by default the one that this script came from
// Events, which bubble: result (detail.answer) for each response, change (detail.inputs, detail.answer) for one that a
// visitor requested, problem (detail.problem) where there is none.
// Looks: font and colours are those of the page; --gramwatt-accent, --gramwatt-line, --gramwatt-gap,
// --gramwatt-field; parts form, table, row, field, label, control, unit, button, hint, fault, answer, headline, value,
// uncertainty, results, picture, cautions, standing, credit.
"use strict";
(() => {
  if (customElements.get("gramwatt-calculator")) return;
  const origin = document.currentScript ? new URL(document.currentScript.src).origin : location.origin;
  const WAIT = 300;
  const MOST_RESULTS = 4;
  const PLAIN = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;

  const sheet = new CSSStyleSheet();
  sheet.replaceSync(`
    :host { display: block; font: inherit; color: inherit; font-variant-numeric: tabular-nums lining-nums;
      --_gramwatt-line: var(--gramwatt-line, color-mix(in srgb, currentColor 45%, transparent));
      --_gramwatt-gap: var(--gramwatt-gap, 0.75rem); --_gramwatt-accent: var(--gramwatt-accent, currentColor); }
    :host([hidden]) { display: none; }
    * { box-sizing: border-box; }
    form { display: flex; flex-wrap: wrap; gap: var(--_gramwatt-gap); align-items: flex-start; margin: 0 0 var(--_gramwatt-gap); }
    fieldset { border: 0; margin: 0; padding: 0; min-width: 0; flex-basis: 100%; }
    legend { padding: 0; font-weight: 600; }
    .row { display: flex; flex-wrap: wrap; gap: calc(var(--_gramwatt-gap) / 2); align-items: flex-end; margin: 0.35em 0; }
    label { display: block; font-size: 0.9em; }
    .row + .row label { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
    .row .entry { gap: 0.15em; }
    .row input { width: 4.3em; }
    .row input.text { width: 5.5em; }
    .row input.count { width: 3em; }
    .entry { display: flex; gap: 0.3em; align-items: baseline; }
    input, select, button { font: inherit; font-variant-numeric: inherit; color: inherit; border-radius: 2px;
      border: 1px solid var(--_gramwatt-line); padding: 0.35em 0.45em; min-height: 2.4em; max-width: 100%;
      background: var(--gramwatt-field, transparent); }
    option { color: CanvasText; background: Canvas; }
    input { width: 6em; }
    input.count { width: 4em; }
    input.text { width: 9em; }
    input.list { width: 14em; }
    button { cursor: pointer; }
    :focus-visible { outline: 2px solid var(--_gramwatt-accent); outline-offset: 2px; }
    [aria-invalid="true"] { border: 2px solid currentColor; }
    .fault { font-weight: 600; font-size: 0.9em; margin: 0.25em 0 0; max-width: 22em; }
    .headline { margin: 0; font-size: 1.1em; }
    .headline strong { font-size: 2em; color: var(--_gramwatt-accent); }
    .uncertainty { opacity: 0.75; white-space: nowrap; }
    dl { display: grid; grid-template-columns: auto 1fr; gap: 0.15em 1em; margin: var(--_gramwatt-gap) 0; }
    dd { margin: 0; }
    .picture svg { width: 100%; max-width: 40rem; height: auto; display: block; }
    details { font-size: 0.9em; margin: var(--_gramwatt-gap) 0; }
    details ul { font-size: inherit; }
    summary { cursor: pointer; }
    ul { padding-left: 1.2em; margin: var(--_gramwatt-gap) 0; font-size: 0.9em; }
    .credit { font-size: 0.85em; margin: 0; }
    a { color: inherit; }
    [hidden] { display: none; }
  `);

  const make = (tag, properties = {}, ...children) => {
    const { part, ...rest } = properties;
    const node = Object.assign(document.createElement(tag), rest);
    if (part) node.setAttribute("part", part);
    node.append(...children);
    return node;
  };
  const crafts = new Map();
  /** The craft document at an address, fetched once a page; one that fails is tried again by the next element. */
  const loadCraft = (address) => {
    if (!crafts.has(address)) {
      const loading = (async () => {
        const response = await fetch(address, { headers: { Accept: "application/json" } });
        if (!response.ok) throw new Error(`its server answers ${response.status}`);
        const text = await response.text();
        try { return JSON.parse(text); } catch { throw new Error("it is not JSON"); }
      })();
      crafts.set(address, loading);
      loading.catch(() => crafts.delete(address));
    }
    return crafts.get(address);
  };
  /** A label within a sentence: "pack current", but "C rating". */
  const lower = (label) => (/^[A-Z][a-z]/.test(label) ? label[0].toLowerCase() + label.slice(1) : label);
  const enter = (labels) => `Enter ${new Intl.ListFormat("en", { type: "conjunction" }).format(labels.map(lower))} for a result.`;
  const words = (text) => (text ?? "").split(/[\s,]+/).filter(Boolean);

  const language = (wished) => {
    try { return Intl.getCanonicalLocales(wished || navigator.language)[0]; } catch { return "en"; }
  };

  class GramwattCalculator extends HTMLElement {
    #about; #inputs = {}; #answer = null; #form; #said; #controls = new Map(); #waiting; #asking; #watch; #lang; #loading = 0; #set = false; #places = {}; #craft = null; #filled = new Set(); #missing = new Set();

    constructor() {
      super();
      this.attachShadow({ mode: "open" }).adoptedStyleSheets = [sheet];
    }

    /** The last answer, as the service gives it as JSON; null before the first and where there is none. */
    get answer() { return this.#answer; }
    /** The question, by names of inputs. */
    get inputs() { return structuredClone(this.#inputs); }
    set inputs(given) {
      this.#inputs = structuredClone(given);
      this.#set = true;
      if (this.#about) { this.#build(); this.#ask(false); }
    }

    connectedCallback() {
      this.#watch = new MutationObserver((changes) => {
        if (changes.some(({ attributeName }) => ["name", "service", "craft"].includes(attributeName))) {
          this.#set = false;
          return this.#load();
        }
        if (!this.#about) return;
        const names = new Set(this.#fields.map(({ name }) => name));
        const own = changes.filter(({ attributeName }) =>
          names.has(attributeName) || ["fields", "results", "picture", "lang"].includes(attributeName));
        if (!own.length) return;
        for (const { attributeName } of own) if (names.has(attributeName)) this.#take(attributeName);
        this.#build();
        this.#ask(false);
      });
      this.#watch.observe(this, { attributes: true });
      this.#load();
    }

    disconnectedCallback() {
      this.#watch?.disconnect();
      this.#asking?.abort();
      clearTimeout(this.#waiting);
    }

    get #base() { return (this.getAttribute("service") ?? origin).replace(/\/$/, ""); }

    /** Inputs of the calculator, after the members that choose rows of the craft. */
    get #fields() {
      if (this.#craft === null) return this.#about.inputs;
      const choices = Object.entries(this.#about.choices ?? {}).flatMap(([name, { table, label }]) => {
        const names = [this.#craft[table]].flat().map((row) => row?.name).filter(Boolean).map(String);
        return names.length ? [{ name, label, kind: "choice", options: names, description: "" }] : [];
      });
      return [...choices, ...this.#about.inputs];
    }

    async #load() {
      const mine = ++this.#loading;
      this.#said ??= make("div", { part: "answer" });
      this.#said.setAttribute("role", "status");
      this.shadowRoot.replaceChildren(this.#said);
      const name = this.getAttribute("name") ?? "";
      this.#craft = null;
      this.#filled.clear();
      this.#missing.clear();
      const address = this.getAttribute("craft");
      const craft = address === null ? null : loadCraft(new URL(address, document.baseURI).href);
      craft?.catch(() => {});
      try {
        const response = await fetch(`${this.#base}/calculators/${encodeURIComponent(name)}`, { headers: { Accept: "application/json" } });
        const answer = await response.json();
        if (mine !== this.#loading) return;
        if (!response.ok) return this.#fail(answer);
        this.#about = answer;
      } catch {
        if (mine === this.#loading) this.#fail({ title: `The calculator at ${this.#base} gives no answer. Try again in a while.` });
        return;
      }
      try {
        const given = await craft;
        if (mine !== this.#loading) return;
        this.#craft = given;
      } catch (error) {
        if (mine !== this.#loading) return;
        this.#about = null;
        const why = error instanceof TypeError ? "there is none, or its server does not let this page read it (CORS)" : error.message;
        return this.#fail({ title: `The craft at ${address} cannot be used: ${why}.` });
      }
      if (!this.#set) {
        this.#inputs = {};
        for (const { name: input } of this.#fields) this.#take(input);
      }
      this.#build();
      this.#ask(false);
    }

    /** Take an input from its attribute. */
    #take(name) {
      const kind = this.#fields.find((each) => each.name === name).kind;
      this.#filled.delete(name);
      const text = this.getAttribute(name);
      if (text === null) delete this.#inputs[name];
      else if (kind === "table") {
        try { this.#inputs[name] = JSON.parse(text); } catch { this.#inputs[name] = text; }
      } else this.#inputs[name] = text;
    }

    #shown() {
      const chosen = this.getAttribute("fields");
      const { any_of: groups } = this.#about;
      const inputs = this.#fields;
      if (chosen !== null) return chosen.trim() === "none" ? [] : inputs.filter(({ name }) => words(chosen).includes(name));
      const given = new Set(Object.keys(this.#inputs));
      if (this.#craft !== null) return inputs.filter(({ name, kind }) => kind !== "samples" && !this.#filled.has(name) && (given.has(name) || this.#missing.has(name)));
      const lacking = groups.filter((group) => !group.some((name) => given.has(name))).map((group) => group[0]);
      return inputs.filter(({ name, required, kind }) => kind !== "samples" && (required || given.has(name) || lacking.includes(name)));
    }

    #build() {
      this.#lang = language(this.closest("[lang]")?.lang);
      this.#controls.clear();
      this.#form = make("form", { part: "form", noValidate: true });
      this.#form.addEventListener("submit", (event) => { event.preventDefault(); this.#ask(true); });
      for (const about of this.#shown()) {
        this.#form.append(about.kind === "table" ? this.#table(about) : this.#field(about, about.name, this.#inputs));
      }
      this.#form.hidden = !this.#form.children.length;
      this.shadowRoot.replaceChildren(this.#form, this.#said);
    }

    #comma() { return new Intl.NumberFormat(this.#lang).format(1.5).includes(","); }

    /** A control for `into[about.name]`; `key` is where faults of it point to. */
    #field(about, key, into) {
      const id = `input-${key}`;
      const box = make("div", { className: "field", part: "field" });
      let control;
      if (about.options || about.kind === "flag") {
        const options = about.options ?? ["true", "false"];
        const none = about.default === undefined ? "—" : `${about.default} (assumed)`;
        const isChoice = about.name in (this.#about.choices ?? {}) && into === this.#inputs;
        control = make("select", { part: "control" }, ...(isChoice ? [] : [make("option", { value: "", textContent: none })]),
          ...options.map((option) => make("option", { value: option, textContent: option })));
        control.value = into[about.name] ?? (isChoice ? options[0] : "");
      } else {
        const size = { count: "count", text: "text", series: "list" }[about.kind] ?? "";
        control = make("input", { part: "control", className: size, autocomplete: "off", spellcheck: false, inputMode: about.kind === "count" ? "numeric" : "text" });
        control.value = this.#typed(into[about.name]);
        if (about.default !== undefined) control.placeholder = this.#typed(`${about.default}`);
      }
      control.id = id;
      const entry = make("div", { className: "entry" }, control);
      let unit = null;
      if (about.unit && about.unit !== "1") {
        if (about.units.length > 1) {
          unit = make("select", { part: "unit" }, ...about.units.map((each) => make("option", { textContent: each })));
          unit.setAttribute("aria-label", `Unit of ${lower(about.label)}`);
          const own = about.units.find((each) => control.value.endsWith(` ${each}`));
          if (own) control.value = control.value.slice(0, -own.length - 1);
          unit.value = own ?? about.unit;
          entry.append(unit);
        } else entry.append(make("span", { part: "unit", textContent: about.unit }));
      }
      const changed = (event) => {
        const numeric = ["quantity", "count", "series"].includes(about.kind);
        if (numeric && this.#comma() && control.value.includes(".")) {
          const fault = { pointer: `/${key.replaceAll(".", "/")}`, detail: "a point in a number; here a comma is the decimal sign", accepted: "1300 or 1,3" };
          clearTimeout(this.#waiting);
          this.#asking?.abort();
          return this.#fail({ title: "not asked", errors: [fault] });
        }
        this.#filled.delete(key.split(".")[0]);
        const text = this.#untyped(control.value.trim(), about.kind);
        if (text === "") delete into[about.name];
        else into[about.name] = unit && unit.value !== about.unit && /[\d.]$/.test(text) ? `${text} ${unit.value}` : text;
        this.#later(event.type === "change");
      };
      for (const each of unit ? [control, unit] : [control]) {
        each.addEventListener("input", changed);
        each.addEventListener("change", (event) => { event.stopPropagation(); changed(event); });
      }
      box.append(make("label", { part: "label", htmlFor: id, textContent: about.label, title: about.description }), entry);
      this.#controls.set(key, { control, box });
      return box;
    }

    /** Numbers are typed as the page's language writes them. */
    #typed(value) {
      const text = Array.isArray(value) ? value.join(", ") : `${value ?? ""}`;
      return this.#comma() ? text.replaceAll(", ", "; ").replaceAll(".", ",") : text;
    }

    #untyped(text, kind) {
      if (kind === "text" || !this.#comma()) return text;
      return kind === "series" ? text.replaceAll(",", ".").replaceAll(/\s*;\s*/g, ",") : text.replaceAll(",", ".");
    }

    #table(about) {
      // What is no list stays as it was given, so that the service says what is wrong with it.
      if (this.#inputs[about.name] === undefined) {
        this.#inputs[about.name] = [{}];
        if (this.#craft !== null) this.#filled.add(about.name);
      }
      const given = this.#inputs[about.name];
      const rows = Array.isArray(given) ? given.map((row) => Object(row) === row ? row : {}) : [];
      if (Array.isArray(given)) this.#inputs[about.name] = rows;
      const used = new Set(rows.flatMap((row) => Object.keys(row)));
      const columns = about.columns.filter(({ name, required }) => required || used.has(name) || ["name", "count"].includes(name));
      const one = about.row_label;
      const table = make("fieldset", { part: "table" }, make("legend", { textContent: about.label }));
      rows.forEach((row, at) => {
        const line = make("div", { className: "row", part: "row" });
        for (const column of columns) line.append(this.#field(column, `${about.name}.${at}.${column.name}`, row));
        const out = make("button", { type: "button", part: "button", textContent: "×" });
        out.setAttribute("aria-label", `Take out ${one} ${at + 1}`);
        out.addEventListener("click", () => { this.#filled.delete(about.name); rows.splice(at, 1); this.#build(); this.#ask(true); this.#form.querySelector("button")?.focus(); });
        line.append(out);
        for (const label of line.querySelectorAll("label")) {
          label.nextElementSibling.firstElementChild.setAttribute("aria-label", `${label.textContent} of ${one} ${at + 1}`);
        }
        table.append(line);
      });
      const more = make("button", { type: "button", part: "button", textContent: `Add a ${one}` });
      more.addEventListener("click", () => {
        rows.push({});
        this.#inputs[about.name] = rows;
        this.#build();
        this.#controls.get(`${about.name}.${rows.length - 1}.${columns[0].name}`).control.focus();
      });
      table.append(more);
      return table;
    }

    #later(now) {
      clearTimeout(this.#waiting);
      this.#waiting = setTimeout(() => this.#ask(true), now ? 0 : WAIT);
    }

    /** The question as JSON: typed numbers become numbers. */
    #question() {
      const read = (kind, value) => (typeof value === "string" && ["quantity", "count"].includes(kind) && PLAIN.test(value) ? Number(value) : value);
      const question = {};
      for (const { name, kind, columns } of this.#fields) {
        let value = this.#inputs[name];
        if (value === undefined || this.#filled.has(name)) continue;
        if (kind === "series" && typeof value === "string") value = value.split(",").map((each) => read("quantity", each.trim())).filter((each) => each !== "");
        if (kind === "flag") value = value === "true" ? true : value === "false" ? false : value;
        if (kind === "table" && Array.isArray(value)) {
          const kinds = Object.fromEntries(columns.map((column) => [column.name, column.kind]));
          this.#places[name] = value.flatMap((row, at) => (Object.keys(row).length ? [at] : []));
          value = value.filter((row) => Object.keys(row).length)
            .map((row) => Object.fromEntries(Object.entries(row).map(([column, cell]) => [column, read(kinds[column], cell)])));
        }
        question[name] = read(kind, value);
      }
      return question;
    }

    /** The labels of the required inputs that a question lacks; what a craft lacks, only the service knows. */
    #lacking(question) {
      if (this.#craft !== null) return [];
      const { inputs, any_of: groups } = this.#about;
      const given = (name) => question[name] !== undefined && `${question[name]}` !== "";
      const needed = inputs.filter(({ name, required }) => required && !given(name));
      const chosen = groups.filter((group) => !group.some(given)).map(([first]) => inputs.find(({ name }) => name === first));
      return [...new Set([...needed, ...chosen])].map(({ label }) => label);
    }

    /** Ask for inputs in one sentence; nothing is sent until they are there. */
    #request(labels) {
      this.#clear();
      this.#answer = null;
      this.#said.replaceChildren(make("p", { part: "hint", textContent: enter(labels) }));
    }

    async #ask(byVisitor) {
      clearTimeout(this.#waiting);
      this.#asking?.abort();
      const { signal } = (this.#asking = new AbortController());
      const { calculator: name, by_query: fits, inputs } = this.#about;
      const question = this.#question();
      const lacking = this.#lacking(question);
      if (lacking.length) return this.#request(lacking);
      const tables = inputs.some((each) => each.kind === "table" && each.name in question);
      const body = JSON.stringify(this.#craft === null ? question : { craft: this.#craft, ...question });
      const query = fits && !tables && this.#craft === null ? new URLSearchParams(Object.entries(question).map(([key, value]) => [key, `${value}`])) : null;
      const send = (path, more) => query
        ? fetch(`${this.#base}/v1/${name}${path}?${query}${more}`, { signal })
        : fetch(`${this.#base}/v1/${name}${path}?${more.slice(1)}`, { signal, method: "POST", headers: { "Content-Type": "application/json" }, body });
      try {
        const response = await send("", "");
        const answer = await response.json();
        if (!response.ok) return this.#fail(answer);
        this.#answer = answer;
        this.#fill(answer);
        let picture = null;
        if (this.hasAttribute("picture")) picture = await this.#draw(send);
        if (signal.aborted) return;
        this.#show(answer, picture, query);
        this.#dispatch("result", { answer });
        if (byVisitor) this.#dispatch("change", { inputs: question, answer });
      } catch (error) {
        if (error.name !== "AbortError") this.#fail({ title: `The calculator at ${this.#base} gives no answer. Try again in a while.` });
      }
    }

    /** Show what came from the craft in the fields that visitors have not changed. */
    #fill(answer) {
      if (this.#craft === null) return;
      let changed = false;
      for (const { name, kind, unit } of this.#shown()) {
        const used = (answer.inputs ?? answer.given)[name];
        if (!answer.from_craft?.includes(name) || used === undefined || used === null) continue;
        if (kind === "table" && this.#filled.has(name) && JSON.stringify(answer.given[name]) !== JSON.stringify(this.#inputs[name])) {
          this.#inputs[name] = structuredClone(answer.given[name]);
          changed = true;
        }
        const control = this.#controls.get(name)?.control;
        if (control?.tagName === "INPUT") control.placeholder = this.#typed(unit ? this.#number(used).replace(",", ".") : used);
      }
      if (!changed) return;
      const focused = this.shadowRoot.activeElement?.id;
      this.#build();
      if (focused) this.shadowRoot.getElementById(focused)?.focus();
    }

    async #draw(send) {
      const asked = this.getAttribute("picture");
      const dark = asked === "dark" || (asked !== "light" && getComputedStyle(this).colorScheme.includes("dark") && matchMedia("(prefers-color-scheme: dark)").matches);
      const shape = this.clientWidth && this.clientWidth < 480 ? "narrow" : "wide";
      const response = await send("/chart", `&format=svg&ground=clear&theme=${dark ? "dark" : "light"}&shape=${shape}`);
      if (!response.ok) return null;
      const drawn = new DOMParser().parseFromString(await response.text(), "image/svg+xml").documentElement;
      return drawn.localName === "svg" ? document.importNode(drawn, true) : null;
    }

    #dispatch(type, detail) { this.dispatchEvent(new CustomEvent(type, { detail, bubbles: true, composed: true })); }

    #clear() {
      for (const { control, box } of this.#controls.values()) {
        control.removeAttribute("aria-invalid");
        control.removeAttribute("aria-describedby");
        box.querySelector(".fault")?.remove();
      }
    }

    #fail(problem) {
      this.#answer = null;
      const isMissing = (fault) => fault.given === null && fault.pointer.split("/").length === 2;
      const errors = problem.errors ?? [];
      const isMischosen = errors.some(({ pointer }) => pointer.slice(1) in (this.#about?.choices ?? {}));
      const needed = this.#craft === null || this.hasAttribute("fields") || isMischosen ? []
        : errors.filter(isMissing).map(({ pointer }) => pointer.slice(1)).filter((name) => name && !this.#missing.has(name));
      for (const name of needed) this.#missing.add(name);
      if (needed.length) this.#build();
      this.#clear();
      const left = [];
      const empty = [];
      for (const fault of errors) {
        const key = this.#shownAt(fault);
        const own = this.#controls.get(key);
        if (own && fault.given === null && own.control.value === "") {
          const label = own.control.getAttribute("aria-label") ?? own.box.querySelector("label").textContent;
          empty.push(label);
          continue;
        }
        const found = this.#controls.get(key) ?? this.#controls.get(key.split(".")[0]);
        if (!found) { left.push(`${key}: ${fault.detail}`); continue; }
        const { control, box } = found;
        const said = make("p", { className: "fault", part: "fault", id: `fault-${key}`, textContent: `${fault.detail}. Accepted: ${fault.accepted}.` });
        box.querySelector(".fault")?.remove();
        box.append(said);
        control.setAttribute("aria-invalid", "true");
        control.setAttribute("aria-describedby", said.id);
      }
      if (errors.length && errors.length === empty.length) return this.#request(empty);
      const marked = errors.length > left.length + empty.length;
      const parts = [...(left.length ? [`${left.join("; ")}.`] : []), ...(empty.length ? [enter(empty)] : []), ...(marked && !left.length ? ["No answer yet: see above."] : [])];
      const text = problem.errors ? parts.join(" ") : problem.detail ?? problem.title;
      this.#said.replaceChildren(make("p", { className: "fault", part: "fault", textContent: text }));
      this.#dispatch("problem", { problem });
    }

    /** The control that a fault is about: blank rows are not sent, so those after them are shown further down. */
    #shownAt({ pointer, given }) {
      const [name, at, ...rest] = pointer.slice(1).split("/");
      const shown = given === undefined ? at : this.#places[name]?.[at] ?? at; // without "given" it is one of our own
      return [name, ...(at === undefined ? [] : [shown]), ...rest].join(".");
    }

    #number(value, digits = {}) {
      return new Intl.NumberFormat(this.#lang, { useGrouping: false, maximumSignificantDigits: 4, ...digits }).format(value);
    }

    /** A result as nodes: its value, unit and uncertainty. */
    #value(answer, name, strong) {
      const value = answer.results[name];
      const unit = answer.units[name];
      if (value === null) {
        const why = answer.cautions.find((each) => each.results?.includes(name));
        return [make("span", { part: "value", textContent: "no answer" }), why ? `: ${why.text}` : ""];
      }
      if (typeof value === "string") return [make(strong, { part: "value", textContent: value.replaceAll("-", " ") })];
      if (Array.isArray(value)) return [make("span", { part: "value", textContent: value.map((each) => this.#number(each)).join("; ") }), unit ? ` ${unit}` : ""];
      if (typeof value === "boolean") return [make(strong, { part: "value", textContent: value ? "yes" : "no" })];
      const { standard: width, low, high } = answer.uncertainty?.[name] ?? {};
      // The uncertainty has two digits, and all else ends at its last place (JCGM 100, 7.2.6).
      const places = width ? Math.min(12, 1 - Number(width.toExponential(1).split("e")[1])) : null;
      const shown = Math.max(0, places ?? 0);
      const digits = places === null ? {} : { maximumSignificantDigits: undefined, minimumFractionDigits: shown, maximumFractionDigits: shown };
      const round = (number) => places < 0 ? Math.round(number * 10 ** places) / 10 ** places : number;
      const text = (number) => this.#number(round(number), digits);
      const nodes = [make(strong, { part: "value", textContent: text(value) }), unit && unit !== "1" ? ` ${unit} ` : " "];
      if (width) nodes.push(make("span", { className: "uncertainty", part: "uncertainty", textContent: `± ${text(width)} (95 %: ${text(low)} to ${text(high)})` }));
      return nodes;
    }

    #show(answer, picture, query) {
      this.#clear();
      const results = this.#about.results.filter(({ kind }) => kind !== "table");
      const [first] = results;
      const wished = this.getAttribute("results");
      const listed = wished !== null
        ? results.filter(({ name }) => words(wished).includes(name))
        : results.slice(1).filter(({ name, kind }) => kind !== "series" && answer.results[name] !== null).slice(0, MOST_RESULTS - 1);
      const list = make("dl", { part: "results" });
      for (const each of listed) {
        list.append(make("dt", { textContent: each.label, title: each.description }), make("dd", {}, ...this.#value(answer, each.name, "span")));
      }
      const cautions = answer.cautions.filter((each) => !each.results && each.kind !== "standing");
      const standing = answer.cautions.filter((each) => !each.results && each.kind === "standing");
      const always = standing.length === 1 ? "1 caution that always holds" : `${standing.length} cautions that always hold`;
      const items = (each) => make("ul", { part: "cautions" }, ...each.map(({ text }) => make("li", { textContent: text })));
      const credit = make("a", { href: `${this.#base}/calculators/${answer.calculator}${query ? `?${query}` : ""}`, textContent: "working and sources" });
      this.#said.replaceChildren(
        make("p", { className: "headline", part: "headline" }, `${first.label}: `, ...this.#value(answer, first.name, "strong")),
        ...(listed.length ? [list] : []),
        ...(picture ? [make("div", { className: "picture", part: "picture" }, picture)] : []),
        ...(cautions.length ? [items(cautions)] : []),
        ...(standing.length ? [make("details", { part: "standing" }, make("summary", { textContent: `Before you fly: ${always}` }), items(standing))] : []),
        make("p", { className: "credit", part: "credit" }, "Gramwatt: ", credit),
      );
    }
  }

  customElements.define("gramwatt-calculator", GramwattCalculator);
})();
