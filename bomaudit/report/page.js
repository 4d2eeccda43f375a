"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const { words, language, currency } = data;
  const MISSING = "–", PAGE = 30;

  // ---- numbers, by the same rules as the figures that were written into the page ----
  const group = { en: ",", de: ".", fr: "\u202f" }[language], point = { en: ".", de: ",", fr: "," }[language];
  const percent = { en: "%", de: "\u00a0%", fr: "\u202f%" }[language];
  const plain = (x, decimals = 0, signed = false) => {
    if (x === null || !Number.isFinite(x)) return MISSING;
    let [whole, part] = Math.abs(x).toFixed(decimals).split(".");
    whole = whole.replace(/\B(?=(\d{3})+$)/g, group);
    const text = part ? whole + point + part : whole;
    return (!/[1-9]/.test(text) ? "" : x < 0 ? "\u2212" : signed ? "+" : "") + text;
  };
  const decimals = (x) => (Math.abs(x) >= 1000 ? 0 : Math.abs(x) >= 1 || x === 0 ? 2 : Math.abs(x) >= 0.1 ? 3
    : Math.abs(x) >= 0.001 ? 4 : 2 - Math.floor(Math.log10(Math.abs(x))));
  const price = (x, signed, like = x) => plain(x, decimals(like), signed);
  const amount = (x, signed) => plain(x, Math.abs(x) >= 100 || x === 0 ? 0 : 2, signed);
  const about = (x, signed) => {
    if (!x) return amount(x);
    const digits = 2 - Math.floor(Math.log10(Math.abs(x))), whole = 10 ** -digits;
    return digits < 0 ? plain(Math.sign(x) * Math.round(Math.abs(x) / whole) * whole, 0, signed) : plain(x, Math.min(digits, 2), signed);
  };
  const share = (x, signed) => (x === null ? MISSING : plain(100 * x, Math.abs(x) >= 0.0095 ? 0 : 1, signed) + percent);
  const chance = (x) => (x === null ? MISSING : x < 0.01 ? "<1" + percent : x > 0.99 ? ">99" + percent : plain(100 * x) + percent);
  const span = (a, b) => (a === null || b === null ? MISSING : `${plain(a, decimals(b))} to ${plain(b, decimals(b))}`);
  const fill = (template, parts) => template.replace(/\{(\w+)\}/g, (_, name) => parts[name]);

  const make = (name, props = {}, ...children) => {
    const node = document.createElement(name);
    for (const [key, value] of Object.entries(props)) key in node ? (node[key] = value) : node.setAttribute(key, value);
    node.append(...children);
    return node;
  };
  const tag = (tones, state) => {
    const node = make("span", { className: "tag" }, make("i", { ariaHidden: "true" }, data.marks[tones][state]), " " + state);
    node.style.setProperty("--t", `var(--${tones}-${state})`);
    node.style.setProperty("--s", `var(--${tones}-${state}-soft)`);
    return node;
  };

  // ---- lines: columns packed by value or by position in a list ----
  const column = (name) => {
    const packed = data.lines[name];
    return Array.isArray(packed) ? packed : packed.at.map((i) => packed.values[i]);
  };
  const L = Object.fromEntries(Object.keys(data.lines).map((name) => [name, column(name)]));
  const all = L.id.map((_, i) => i), byId = new Map(L.id.map((id, i) => [id, i]));
  const table = document.getElementById("line-table"), body = table.tBodies[0];
  const haystack = all.map((i) => [L.id[i], L.part[i], L.description[i], L.commodity[i], L.supplier[i]].join(" ").toLowerCase());
  const state = { rows: all, shown: PAGE, sort: null, down: false };
  const sorters = ["part", "description", "commodity", "status", "booked", "estimate", "low", "drift", "p", "money", "age"];

  const market = (i) => (L.commodity[i] || MISSING).replaceAll("_", " ");
  const kinds = [...table.tHead.rows[0].cells].map((h) => h.className);
  const cells = (i) => [
    make("a", { href: "#" + L.id[i] }, L.part[i] || L.id[i]), L.description[i], market(i), tag("status", L.status[i]), price(L.booked[i]),
    price(L.estimate[i]), span(L.low[i], L.high[i]), share(L.drift[i], true), chance(L.p[i]), about(L.money[i], true), plain(L.age[i], 1),
  ];
  const row = (i) => make("tr", {}, ...cells(i).map((cell, c) => make("td", { className: kinds[c] + (kinds[c] === "code" && cell.textContent.length > 32 ? " long" : "") }, cell)));
  const drawLines = () => {
    body.replaceChildren(...state.rows.slice(0, state.shown).map(row));
    const more = document.getElementById("more-lines"), left = state.rows.length - state.shown;
    more.hidden = left <= 0;
    more.textContent = `Show ${Math.min(PAGE, left)} more lines`;
    say(table, `${plain(Math.min(state.shown, state.rows.length))} of ${plain(state.rows.length)} lines shown`);
  };
  const say = (of, text) => { const out = toolsOf(of)?.querySelector("output"); if (out) out.textContent = text; };
  const toolsOf = (of) => document.querySelector(`.tools[data-for="${of.id}"]`);
  const chooseLines = () => {
    const box = toolsOf(table), wanted = box.querySelector("input[type=search]").value.toLowerCase().trim();
    const states = new Set([...box.querySelectorAll("input:checked")].map((x) => x.value));
    let rows = all.filter((i) => states.has(L.status[i]) && haystack[i].includes(wanted));
    if (state.sort !== null) rows = sorted(rows, (i) => L[sorters[state.sort]][i], state.down);
    Object.assign(state, { rows, shown: PAGE });
    drawLines();
  };
  const sorted = (rows, key, down) => [...rows].sort((a, b) => {
    const x = key(a), y = key(b);
    if (x === null || x === "") return y === null || y === "" ? 0 : 1;
    if (y === null || y === "") return -1;
    const order = typeof x === "number" && typeof y === "number" ? x - y : String(x).localeCompare(String(y), language, { numeric: true });
    return down ? -order : order;
  });

  // ---- every table: sort by its heads, find, save ----
  const markSort = (of, index) => {
    const heads = [...of.tHead.rows[0].cells], down = heads[index].ariaSort === "ascending" || (!heads[index].ariaSort && heads[index].classList.contains("num"));
    heads.forEach((h) => h.removeAttribute("aria-sort"));
    heads[index].ariaSort = down ? "descending" : "ascending";
    return down;
  };
  const value = (tr, c) => { const td = tr.cells[c], v = td.dataset.v; return v === undefined ? td.textContent.trim() : v === "" ? null : Number(v); };
  const findRows = (of) => {
    const wanted = toolsOf(of).querySelector("input").value.toLowerCase().trim(), rows = [...of.tBodies[0].rows];
    rows.forEach((tr) => { tr.hidden = !tr.textContent.toLowerCase().includes(wanted); });
    of.classList.toggle("searched", wanted !== "");
    say(of, wanted ? `${plain(rows.filter((tr) => !tr.hidden).length)} of ${plain(rows.length)} rows` : "");
  };
  document.querySelectorAll("table.grid").forEach((of) => {
    [...of.tHead.rows[0].cells].forEach((head, c) => head.querySelector("button").addEventListener("click", () => {
      const down = markSort(of, c);
      if (of === table) { Object.assign(state, { sort: c, down }); chooseLines(); return; }
      of.tBodies[0].append(...sorted([...of.tBodies[0].rows], (tr) => value(tr, c), down));
      if (of.querySelector(".later")) keepFirst(of);
    }));
    toolsOf(of)?.addEventListener("input", () => (of === table ? chooseLines() : findRows(of)));
  });
  const keepFirst = (of) => [...of.tBodies[0].rows].forEach((tr, i) => tr.classList.toggle("later", i >= Number(of.dataset.first)));
  document.querySelectorAll("table[data-first]").forEach((of) => {
    const total = of.tBodies[0].rows.length;
    if (total <= Number(of.dataset.first) + 3) return;
    keepFirst(of);
    const button = make("button", { type: "button" }, `Show all ${plain(total)} rows`);
    button.addEventListener("click", () => { of.classList.add("all"); button.remove(); });
    of.closest(".scroll").after(make("p", { className: "more" }, button));
  });
  document.getElementById("more-lines").addEventListener("click", () => { state.shown += PAGE; drawLines(); });

  const LIVE = /(?:^(?=['\s]*[=+\-@\t\r＝＋－＠])|(?<=[;|\t\r\n])(?='*(?:[=+\-@\t\r＝＋－＠]|[ \u00a0]*[=@＝＠])))/g; // as safe_text.guard
  const quoted = (v) => {
    let text = v === null ? "" : String(v);
    if (typeof v === "string") text = text.replace(LIVE, "'"); // a spreadsheet must not run it
    return /[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  const save = (name, rows) => {
    const blob = new Blob(["\ufeff" + rows.map((r) => r.map(quoted).join(",")).join("\n") + "\n"], { type: "text/csv" });
    const link = make("a", { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  };
  const LINE_FIELDS = ["id", "part", "description", "supplier", "commodity", "status", "booked", "estimate", "low", "high", "drift", "p", "money", "age", "reason"];
  document.querySelectorAll("[data-export]").forEach((button) => button.addEventListener("click", () => {
    const of = document.getElementById(button.dataset.export);
    if (of === table) return save("lines.csv", [LINE_FIELDS, ...state.rows.map((i) => LINE_FIELDS.map((f) => L[f][i]))]);
    const heads = [...of.tHead.rows[0].cells].map((h) => h.innerText.replace(/\s+/g, " ").trim());
    const rows = [...of.tBodies[0].rows].filter((tr) => !tr.hidden);
    return save(of.id + ".csv", [heads, ...rows.map((tr) => heads.map((_, c) => value(tr, c)))]);
  }));

  // ---- one line in full ----
  const SVG = "http://www.w3.org/2000/svg";
  const bar = (from, to, scale, tone) => {
    const svg = document.createElementNS(SVG, "svg"), rect = document.createElementNS(SVG, "rect");
    const low = (100 * Math.min(from, to)) / scale, width = Math.max((100 * Math.abs(to - from)) / scale, 0.4);
    for (const [k, v] of Object.entries({ x: low + "%", width: width + "%", y: 2, height: 12, fill: `var(--${tone})` })) rect.setAttribute(k, v);
    svg.setAttribute("aria-hidden", "true");
    svg.append(rect);
    return svg;
  };
  const walk = (i) => {
    const box = make("div", { className: "walk" }), steps = data.steps.map((s) => [s, L["walk_" + s][i]]).filter(([, x]) => x);
    const levels = steps.reduce((at, [, x]) => [...at, at.at(-1) + x], [L.booked[i]]), scale = Math.max(...levels, L.estimate[i]);
    const put = (label, text, picture) => box.append(make("span", {}, label), make("span", { className: "f" }, text), picture);
    put("booked", price(L.booked[i]), bar(0, L.booked[i], scale, "status-unknown"));
    steps.forEach(([s, x], k) => put(words.step[s], price(x, true, Math.max(Math.abs(x), Math.min(L.booked[i], 0.001))), bar(levels[k], levels[k + 1], scale, x > 0 ? "up" : "down")));
    put("estimate today", price(L.estimate[i]), bar(0, L.estimate[i], scale, "status-unknown"));
    return box;
  };
  const list = (title, points) => (points.length ? [make("h4", {}, title), make("ul", {}, ...points.map((p) => make("li", {}, p)))] : []);
  const surer = (i) => data.parts.map((v) => [L["var_" + v][i], v]).filter(([x]) => x >= 0.03).sort((a, b) => b[0] - a[0]).slice(0, 3)
    .map(([x, v]) => fill(words.surer_sentence, { share: share(x), what: words.surer[v][0], advice: words.surer[v][1] }));
  const worth = (i) => fill(words.worth_sentence, { money: about(Math.abs(L.money[i])), currency, way: L.money[i] >= 0 ? "above" : "below",
    quantity: plain(L.qty[i] * L.volume[i]), uom: L.uom[i] || "pieces" });
  const showLine = (i) => {
    const box = document.getElementById("line-body"), priced = L.estimate[i] !== null;
    const unit = L.uom[i] ? `${currency}/${L.uom[i]}` : `${currency} each`;
    const lead = priced ? fill(words.line_sentence, {
      booked: price(L.booked[i]), unit, estimate: price(L.estimate[i]), span: span(L.low[i], L.high[i]), confidence: data.confidence,
      drift: share(L.drift[i], true), materiality: data.materiality, chance: chance(L.p[i]) }) : L.reason[i];
    box.replaceChildren(
      make("h3", { id: "line-title" }, `${L.part[i]} ${L.description[i]}`), make("p", { className: "how" }, `${L.id[i]}, row ${L.row[i]} of ${L.file[i]}`),
      make("p", {}, tag("status", L.status[i]), " ", lead));
    if (priced) box.append(make("h4", {}, "From booked to today"), walk(i));
    box.append(...(priced ? list("Why this status", [L.reason[i]]) : []), ...(L.money[i] === null ? [] : list("What it is worth", [worth(i)])),
      ...list("What its price follows", L.follows[i].split("; ").filter(Boolean)),
      ...list("Evidence", [`${words.basis[L.basis[i]] ?? ""}: ${L.dated[i]}, ${plain(L.age[i], 1)} years ago`, L.commodity[i] ? `market: ${market(i)}` : "market unknown", ...(Object.hasOwn(data.learning, L.commodity[i]) ? [data.learning[L.commodity[i]]] : []),
        ...(L.stage[i] ? [`stage of the market: ${words.stage[L.stage[i]] ?? L.stage[i]}`] : []), ...L.evidence[i].split("; ").filter(Boolean)]),
      ...(priced ? list("What would make this surer", surer(i)) : []));
    const dialog = document.getElementById("line");
    if (!dialog.open) dialog.showModal();
    dialog.scrollTop = 0;
  };
  const follow = () => {
    const name = decodeURIComponent(location.hash.slice(1)), target = document.getElementById(name);
    if (byId.has(name)) showLine(byId.get(name));
    else if (target?.tagName === "DETAILS") target.open = true;
  };
  window.addEventListener("hashchange", follow);
  document.getElementById("line").addEventListener("close", () => history.replaceState(null, "", location.pathname + location.search));

  // ---- charts: colours become variables of the page, so that dark mode and print follow ----
  const tinted = (x) => typeof x === "string" ? data.tones[x] ?? x : Array.isArray(x) ? x.map(tinted)
    : x && typeof x === "object" ? Object.fromEntries(Object.entries(x).map(([k, v]) => [k, tinted(v)])) : x;
  const rowsOf = (name, key) => name === "map" ? all.filter((i) => L.drift[i] !== null).map((i) => ({
    age: L.age[i], drift: L.drift[i], money: Math.abs(L.money[i] ?? 0), worth: L.money[i] === null ? MISSING : plain(Math.abs(L.money[i])), status: L.status[i], id: L.id[i], label: `${L.part[i]} ${L.description[i]}` }))
    : key ? data.charts[name][key] : data.charts[name];
  // titles of axes in two lines where there is little room: cut at a bracket, comma or semicolon near the middle
  const NARROW = 420;
  const folded = (title, width) => {
    if (width >= NARROW || title.length < 26) return title;
    const cuts = [...title.matchAll(/ \(|; |, | /g)].map((m) => m.index);
    const cost = (at) => Math.abs(at - title.length / 2) - (/^( \(|; |, )/.test(title.slice(at)) ? 8 : 0);
    const at = cuts.sort((a, b) => cost(a) - cost(b))[0];
    return at === undefined ? title : [title.slice(0, /^[;,]/.test(title.slice(at)) ? at + 1 : at), title.slice(at).replace(/^[;,]? /, "")];
  };
  const draw = async (box) => {
    const name = box.dataset.chart, small = box.classList.contains("small");
    const room = small ? box.clientWidth || 300 : (box.closest(".body").clientWidth || 760) - (box.closest(".inside") ? 34 : 2);
    const width = Math.max(250, Math.min(980, room));
    const rows = rowsOf(name, box.dataset.key);
    if (!rows?.length) { box.replaceChildren(make("p", { className: "how" }, "Nothing to draw.")); return; }
    const declared = tinted(data.specifications[name]), height = declared.height.step ? declared.height.step * rows.length : declared.height;
    const labels = JSON.stringify(declared).replace(/"labelLimit":330/g, `"labelLimit":${Math.round(Math.min(330, width * 0.42))}`);
    const declaredHere = JSON.parse(labels, (key, value) => key === "title" && typeof value === "string" ? folded(value, width) : value);
    if (width < NARROW) declaredHere.config.legend.columns = 1;
    const spec = { ...declaredHere, height, datasets: { [name]: rows }, width, autosize: { type: "fit-x", contains: "padding" }, description: box.dataset.words };
    const made = await vegaEmbed(box, spec, { actions: false, renderer: "svg", ast: true, tooltip: { theme: "custom" }, formatLocale: data.locale });
    box.querySelector("svg").setAttribute("role", "img");
    box.querySelector("svg").setAttribute("aria-label", box.dataset.words);
    made.view.addEventListener("click", (_, item) => { if (item?.datum?.id) location.hash = item.datum.id; });
  };
  const drawAll = async () => { for (const box of document.querySelectorAll(".chart")) await draw(box); document.body.dataset.drawn = "yes"; };
  let wait, width = innerWidth;
  window.addEventListener("resize", () => { if (innerWidth === width) return; width = innerWidth; clearTimeout(wait); wait = setTimeout(drawAll, 250); });
  let closed = [];
  window.addEventListener("beforeprint", () => { closed = [...document.querySelectorAll(".decision:not([open], [data-verdict=stands])")]; closed.forEach((d) => { d.open = true; }); });
  window.addEventListener("afterprint", () => closed.forEach((d) => { d.open = false; }));

  chooseLines();
  follow();
  drawAll();
})();
