"use strict";
// What this page says is checked by what it carries. check() deals every session again from the seed revealed at its end,
// follows the chains of hashes to the head of the record, recounts, computes p and intervals again, and holds the page, text
// by text, against the digests that were taken when it was written. "heardiff verify FILE.html" does the same, and more.

// One entry a design: its answers, and which of them is right for each of its equally likely assignments.
const designs = {
  "abx": {answers: ["a", "b"], right: ["a", "b"], chance: 1 / 2},
  "same-different": {answers: ["same", "different"], right: ["same", "same", "different", "different"], chance: 1 / 2, conditional: true},
};

const utf8 = new TextEncoder();
const hex = buffer => [...new Uint8Array(buffer)].map(b => b.toString(16).padStart(2, "0")).join("");
const bytesOf = text => Uint8Array.from(text.match(/../g) || [], b => parseInt(b, 16));
const digest = async data => hex(await crypto.subtle.digest("SHA-256", typeof data === "string" ? utf8.encode(data) : data));
const squeeze = text => text.replace(/[ \t\n\r\f]+/g, " ").replace(/^ | $/g, "");

// fnv is FNV-1a, 32 bits: it finds the place of an edit; what proves that there is none is the SHA-256 over all.
function fnv(text) {
  let h = 0x811c9dc5;
  for (const b of utf8.encode(text)) h = Math.imul(h ^ b, 0x01000193);
  return h >>> 0;
}

// places says where in the page a unit is; see place in form.go, which does the same.
class Places {
  section = "the head of the page"; title = ""; tag = ""; heads = []; row = ""; column = -1; inTable = false;
  open(tag, attributes) {
    this.tag = tag;
    if (tag === "section") [this.section, this.title, this.inTable] = [attributes.get("id") || "", "", false];
    else if (tag === "table") [this.heads, this.row, this.column, this.inTable] = [[], "", -1, true];
    else if (tag === "tr") [this.row, this.column] = ["", -1];
    else if (tag === "td" || tag === "th") this.column++;
    else if (tag === "p" || tag === "svg" || tag === "h2" || tag === "h3" || tag === "script") this.inTable = false;
  }
  text(text) {
    if (/^h[1-3]$/.test(this.tag)) this.title = text;
    if (!this.inTable || this.column < 0) return;
    if (this.heads.length === this.column && !this.row) this.heads.push(text);
    if (this.column < 2) this.row = (this.row ? this.row + ", " : "") + text;
  }
  where() {
    const at = this.inTable && this.column >= 0 ? `row “${this.row}”, column “${this.heads[this.column] || this.column + 1}”` : `<${this.tag}>`;
    return `${this.section}${this.title ? ` (${this.title})` : ""}, ${at}`;
  }
}

// unitsOf lists all that the page says, tag by tag and text by text, in the order of its source.
function unitsOf(root) {
  const units = [], places = new Places();
  const add = text => units.push({text, where: places.where()});
  const walk = node => {
    if (node.nodeType === 8) return add("<!--" + node.data);
    if (node.nodeType === 3) {
      const parent = node.parentNode, json = parent.localName === "script" ? parent.getAttribute("type") : null;
      if (parent.id === "form") return;
      const parts = json === "application/json" ? node.data.split(",") : json ? node.data.split("\n") : [node.data];
      for (const part of parts) {
        const text = squeeze(part);
        if (!text) continue;
        places.text(text);
        add(text);
      }
      return;
    }
    if (node.nodeType !== 1) return;
    const attributes = new Map([...node.attributes].map(a => [a.name.toLowerCase(), a.value]));
    places.open(node.localName.toLowerCase(), attributes);
    add("<" + node.localName.toLowerCase() + [...attributes].map(([k, v]) => ` ${k}=${v}`).join(""));
    for (const child of node.childNodes) walk(child);
  };
  walk(root);
  return units;
}

const asWritten = unitsOf(document.documentElement); // before any other script changes the page

// checkForm holds the page against the digests taken when it was written.
async function checkForm(units, faults) {
  const form = JSON.parse(document.getElementById("form").textContent);
  const marks = Uint8Array.from(atob(form.marks), c => c.charCodeAt(0));
  const was = [];
  for (let i = 0; i + 3 < marks.length; i += 4) was.push((marks[i] << 24 | marks[i + 1] << 16 | marks[i + 2] << 8 | marks[i + 3]) >>> 0);
  const is = units.map(u => fnv(u.text));
  let first = 0, last = 0;
  while (first < is.length && first < was.length && is[first] === was[first]) first++;
  while (last < is.length - first && last < was.length - first && is[is.length - 1 - last] === was[was.length - 1 - last]) last++;
  const shown = text => text.length > 120 ? text.slice(0, 120) + "…" : text;
  if (is.length === was.length) {
    for (let i = first; i < is.length - last; i++) if (is[i] !== was[i]) faults.push(`edited: ${units[i].where}: now “${shown(units[i].text)}”`);
  } else {
    for (let i = first; i < is.length - last; i++) faults.push(`added or edited: ${units[i].where}: “${shown(units[i].text)}”`);
    if (is.length < was.length) faults.push(`removed: ${was.length - is.length} texts or tags, after ${units[Math.max(0, first - 1)].where}`);
  }
  const sum = await digest(units.map(u => u.text).join("\n"));
  if (sum !== form.sha256 && !faults.length) faults.push("edited: the digest of the page");
}

const lines = id => {
  const node = document.getElementById(id);
  return node ? node.textContent.split("\n").filter(l => l).map(l => l.split("\t")) : [];
};

// checkRecord follows the record to its head.
async function checkRecord(faults) {
  const record = {head: "", entries: 0, title: null, plans: new Map(), sessions: new Map(), marks: new Map(), whole: document.getElementById("record").dataset.part !== "end"};
  for (const [hash, text, body] of lines("record")) {
    let e = {};
    try { e = JSON.parse(text); } catch { faults.push(`record: entry ${record.entries + 1} cannot be read`); }
    const what = `entry ${e.number} of the record (${e.kind} "${e.subject}")`;
    if (await digest(text) !== hash) faults.push(`record: ${what} was changed after it was written`);
    else if (record.whole && (e.number !== record.entries + 1 || e.previous !== record.head)) faults.push(`record: ${what} does not follow the entry before it`);
    [record.head, record.entries] = [hash, e.number];
    const noun = String(e.kind).split(" ")[0], open = ["study", "chain", "plan", "session", "journal"].includes(noun);
    if (body === undefined) {
      if (open && record.whole) faults.push(`record: the body of ${what} was removed`);
      continue;
    }
    if (await digest(body) !== e.digest) { faults.push(`record: the body of ${what} was changed`); continue; }
    const b = JSON.parse(body);
    if (b.journal) record.marks.set(e.subject, [...record.marks.get(e.subject) || [], b.journal]);
    else if (b.table === "study") record.title = b.row.title;
    else if (b.table === "plans") record.plans.set(b.row.id, b.row.body);
    else if (b.table === "sessions") record.sessions.set(b.row.id, b.row);
  }
  return record;
}

// Random numbers as trials/order.go draws them: block k of a stream is HMAC-SHA256(seed, name ‖ k), k as eight bytes.
async function stream(seed, name, blocks) {
  const key = await crypto.subtle.importKey("raw", seed, {name: "HMAC", hash: "SHA-256"}, false, ["sign"]);
  const all = [];
  for (let k = 0; k < blocks; k++) {
    const head = utf8.encode(name), data = new Uint8Array(head.length + 8);
    data.set(head);
    new DataView(data.buffer).setBigUint64(head.length, BigInt(k));
    all.push(...new Uint8Array(await crypto.subtle.sign("HMAC", key, data)));
  }
  let at = 0;
  const below = n => {
    const limit = Math.floor(2 ** 32 / n) * n;
    for (;;) {
      if (at + 4 > all.length) throw new RangeError("more blocks");
      const v = ((all[at] << 24 | all[at + 1] << 16 | all[at + 2] << 8 | all[at + 3]) >>> 0);
      at += 4;
      if (v < limit) return v % n;
    }
  };
  return below;
}

function shuffle(list, below) {
  for (let i = list.length - 1; i > 0; i--) {
    const k = below(i + 1);
    [list[i], list[k]] = [list[k], list[i]];
  }
}

async function deal(plan, seed) {
  for (let blocks = 16 + plan.comparisons.reduce((n, c) => n + c.trials, 0); ; blocks *= 2) {
    try { return dealFrom(plan, await stream(seed, "order", blocks)); } catch (e) { if (!(e instanceof RangeError)) throw e; }
  }
}

// dealFrom is deal in trials/order.go: the draws come in the same succession.
function dealFrom(plan, below) {
  const order = plan.comparisons.map((_, i) => i), sides = designs[plan.design].right;
  if (plan.layout === "blocked") shuffle(order, below);
  const practice = [], controls = [], rest = [];
  for (const i of order) {
    const c = plan.comparisons[i], kind = {practice, scored: rest}[c.kind] || controls;
    let hidden = [];
    if (plan.order === "independent") for (let k = 0; k < c.trials; k++) hidden.push(sides[below(sides.length)]);
    else {
      const all = [...sides];
      shuffle(all, below);
      for (let k = 0; k < c.trials; k++) hidden.push(all[k % all.length]);
      shuffle(hidden, below);
    }
    kind.push(...hidden.map(right => ({comparison: i, right})));
  }
  for (const t of controls) rest.splice(below(rest.length + 1), 0, t);
  shuffle(practice, below);
  if (plan.layout === "interleaved") shuffle(rest, below);
  return [...practice, ...rest];
}

// checkSession follows a journal, holds the seal against the revealed seed, deals the trials and counts the answers.
async function checkSession(session, plans, record, faults) {
  const fault = text => faults.push(`session ${session.id.slice(0, 12)}: ${text}`);
  let previous = "", broken = false;
  const entries = [];
  for (const [hash, text] of session.lines) {
    const n = entries.length + 1;
    let e;
    try { e = JSON.parse(text); } catch { fault(`entry ${n} cannot be read`); return null; }
    entries.push({...e, hash});
    if (await digest(text) !== hash) { fault(`entry ${n} was changed after it was written`); broken = true; }
    else if (e.number !== n || e.previous !== previous || e.session !== session.id) { fault(`entry ${n} does not follow the entry before it`); broken = true; }
    previous = hash;
  }
  const first = entries[0], end = entries[entries.length - 1];
  if (!first || first.kind !== "begin" || end.kind !== "end") { fault("its journal does not begin with a seal and end with a seed"); return null; }
  for (const mark of record.marks.get(session.id) || [])
    if (entries[mark.number - 1]?.hash !== mark.hash) { fault(`entry ${mark.number} is not the one that the record knows (${mark.kind})`); broken = true; break; }
  const row = record.sessions.get(session.id);
  if (record.whole && record.entries && !row) { fault("it is not in the record"); broken = true; }
  const seat = first.seat;
  if (row && seat && row.listener !== (row.site ? `${seat.listener}@${row.site.slice(0, 8)}` : seat.listener)) fault(`it was sealed for listener "${seat.listener}", and is said to be of "${row.listener}"`);
  if (row && row.plan !== session.plan) { fault("its plan is not the one that the record knows"); broken = true; }
  if (broken) return null;
  const text = plans.get(session.plan);
  if (!text) { fault("its plan is not on the page"); return null; }
  const plan = JSON.parse(text), seed = bytesOf(end.note);
  if (seed.length !== 32) { fault("its last entry does not hold a seed"); return null; }
  const parts = [seed, bytesOf(await digest(text))];
  if (seat) {
    if ((seat.device || seat.salt) && await digest((seat.salt || "") + (seat.device || "")) !== seat.device_sha256) fault("the device of the first entry is not the one that the seal covers");
    // As Go encodes it: "<", ">" and "&" as escapes.
    const covered = JSON.stringify({study: seat.study, listener: seat.listener, device_sha256: seat.device_sha256}).replace(/[<>&\u2028\u2029]/g, c => "\\u" + c.charCodeAt(0).toString(16).padStart(4, "0"));
    parts.push(bytesOf(await digest(covered)));
  }
  parts.push(utf8.encode(session.id));
  if (await digest(new Uint8Array(await new Blob(parts).arrayBuffer())) !== first.note) { fault("the seed and the plan do not agree with the seal of the first entry"); return null; }
  if (!designs[plan.design]) { fault(`this page cannot deal the design ${plan.design}: “heardiff verify” can`); return null; }
  return count(session, plan, seed, entries, fault);
}

async function count(session, plan, seed, entries, fault) {
  const trials = await deal(plan, seed), design = designs[plan.design];
  const counts = plan.comparisons.map(() => [0, 0, 0, 0]), done = [];
  let current = 0, voids = 0, gaveUp = false;
  for (const e of entries) {
    gaveUp = gaveUp || e.kind === "give-up";
    if (e.kind !== "answer" && e.kind !== "void") continue;
    const t = trials[current];
    if (e.trial !== current + 1 || !t) { fault(`entry ${e.number} is of trial ${e.trial}, but trial ${current + 1} is due`); return null; }
    current++;
    done.push({...t, said: e.answer, voided: e.kind === "void", seconds: e.seconds});
    if (e.kind === "void") {
      const below = await stream(seed, `replacement ${voids++}`, 4), again = {comparison: t.comparison, right: design.right[below(design.right.length)]};
      let at = trials.length;
      if (plan.comparisons[t.comparison].kind === "practice") for (at = current; at < trials.length && plan.comparisons[trials[at].comparison].kind === "practice";) at++;
      trials.splice(at, 0, again);
      continue;
    }
    if (!design.answers.includes(e.answer)) { fault(`entry ${e.number} holds an answer that is not of the design`); return null; }
    counts[t.comparison][2 * design.answers.indexOf(t.right) + design.answers.indexOf(e.answer)]++;
  }
  if (current < trials.length && !gaveUp && !plan.looks) fault("its journal ends before the last trial was answered");
  return {plan, entries, counts, done};
}

// Exact statistics. tail is P(X ≥ k) of n trials at p, summed from its largest term.
const small = [0];
function lnFactorial(n) {
  if (n < 2000) { // by addition, exact to the last digits
    for (let i = small.length; i <= n; i++) small[i] = small[i - 1] + Math.log(i);
    return small[n];
  }
  const x = n + 1; // Stirling's series
  return (x - 0.5) * Math.log(x) - x + 0.5 * Math.log(2 * Math.PI) + 1 / (12 * x) - 1 / (360 * x ** 3) + 1 / (1260 * x ** 5);
}
const lnChoose = (n, k) => lnFactorial(n) - lnFactorial(k) - lnFactorial(n - k);
function tail(k, n, p) {
  if (k <= 0) return 1;
  if (k > n || p <= 0) return 0;
  if (p >= 1) return 1;
  const odds = p / (1 - p), term = j => Math.exp(lnChoose(n, j) + j * Math.log(p) + (n - j) * Math.log1p(-p));
  let sum = 0;
  if (k > n * p) {
    for (let j = k, t = term(k); j <= n && t > sum * 1e-18; t *= (n - j) / (j + 1) * odds, j++) sum += t;
    return Math.min(1, sum);
  }
  for (let j = k - 1, t = term(k - 1); j >= 0 && t > sum * 1e-18; t *= j / (n - j + 1) / odds, j--) sum += t;
  return 1 - sum;
}
// interval is Clopper and Pearson's, two-sided.
function interval(k, n, confidence) {
  const half = (1 - confidence) / 2;
  const solve = above => { // the p at which it turns true
    let lo = 0, hi = 1;
    for (let i = 0; i < 200 && hi - lo > 1e-16 * hi; i++) { const mid = (lo + hi) / 2; if (above(mid)) hi = mid; else lo = mid; }
    return (lo + hi) / 2;
  };
  return [k === 0 ? 0 : solve(p => tail(k, n, p) >= half), k === n ? 1 : solve(p => 1 - tail(k + 1, n, p) <= half)];
}
// fisher is the exact one-sided p of a 2 × 2 table [first right and said, first right and second said, …], given its margins.
function fisher([a, b, c, d]) {
  const different = c + d, same = a + b, said = b + d, total = lnChoose(different + same, said);
  let sum = 0;
  for (let x = d; x <= Math.min(different, said); x++) if (said - x <= same) sum += Math.exp(lnChoose(different, x) + lnChoose(same, said - x) - total);
  return Math.min(1, sum);
}

// agrees reports whether what is printed is the rounding of a value, within half a unit of its last digit.
function agrees(printed, value) {
  const text = printed.trim().replace(/\u2212/g, "-").replace(/ %$/, "");
  if (text === "–") return !Number.isFinite(value);
  if (text.startsWith("<")) return value < parseFloat(text.slice(1));
  if (!/^[+-]?\d+(\.\d+)?$/.test(text)) return false;
  const decimals = (text.split(".")[1] || "").length;
  return Math.abs(parseFloat(text) - value) <= 0.5 * 10 ** -decimals + 1e-9;
}

// checkRows counts each printed row again from the sessions that it adds up.
function checkRows(sessions, faults) {
  let rows = 0;
  for (const [line] of lines("counted")) {
    const c = JSON.parse(line), sum = [0, 0, 0, 0], name = `${c.comparison}, ${c.who}`;
    const add = m => m.forEach((v, i) => { sum[i] += v; });
    let known = true;
    for (const [s, which] of c.parts || []) {
      if (!sessions[s]) known = false;
      else for (const i of which) add(sessions[s].counts[i]);
    }
    (c.counts || []).forEach(add);
    if (!known) continue; // a session of it is broken, and named
    const n = sum[0] + sum[1] + sum[2] + sum[3], k = sum[0] + sum[3], both = sum[0] + sum[1] > 0 && sum[2] + sum[3] > 0, design = designs[c.design];
    if (!design) continue;
    const [low, high] = n ? interval(k, n, 0.95) : [NaN, NaN];
    let p = NaN;
    if (n && (design.conditional || c.balanced) && both) p = fisher(sum);
    else if (n && !design.conditional) p = tail(k, n, design.chance);
    const tr = document.querySelector(`tr[data-row="${c.row}"]`);
    if (!tr) { faults.push(`results: the row of ${name} was removed`); continue; }
    const want = {correct: k, trials: n, proportion: 100 * k / n, low: 100 * low, high: 100 * high, p};
    for (const [field, value] of Object.entries(want)) {
      const cell = tr.querySelector(`[data-f="${field}"]`), exact = cell ? parseFloat(cell.dataset.v) : NaN, scale = {proportion: 100, low: 100, high: 100}[field] || 1;
      const said = {low: "95 % from", high: "95 % to", p: "p uncorrected"}[field] || field;
      if (!cell) faults.push(`results: ${name}: ${said} was removed`);
      else if (!agrees(cell.textContent, value)) faults.push(`results: ${name}: ${said} is printed as ${cell.textContent.trim()}, and the answers come to ${Number(value.toPrecision(4))}`);
      else if (Number.isFinite(value) && Math.abs(exact * scale - value) > 1e-7 * Math.max(Math.abs(value), 1e-3)) faults.push(`results: ${name}: ${said} is sorted as ${cell.dataset.v}, and the answers come to ${value}`);
    }
    rows++;
  }
  return rows;
}

// shortHead is trials.ShortHead: the hash modulo 10^24 and Damm's check digit.
const damm = ["0317598642", "7092154863", "4206871359", "1750983426", "6123045978", "3674209581", "5869720134", "8945362017", "9438617205", "2581436790"];
function shortHead(head) {
  if (!/^[0-9a-f]{64}$/.test(head)) return "";
  const digits = (BigInt("0x" + head) % 10n ** 24n).toString().padStart(24, "0");
  let at = 0;
  for (const d of digits) at = +damm[at][+d];
  return (digits + at).match(/.{5}/g).join(" ");
}

const wholeText = id => document.getElementById(id)?.textContent ?? "";

async function check() {
  const faults = [], proved = [];
  const record = await checkRecord(faults);
  if (record.title !== null && squeeze(record.title) !== squeeze(wholeText("title"))) faults.push(`the title is not the one that the record knows: “${record.title}”`);
  if (wholeText("record-head") !== record.head) faults.push("the head printed is not the one to which the record leads");
  if (wholeText("record-short") !== shortHead(record.head)) faults.push("the short form printed is not the head’s");
  const plans = new Map();
  for (const [id, text] of lines("plans")) {
    plans.set(id, text);
    const was = record.plans.get(id), sha = was && was.sha256;
    if (record.whole && record.entries && (was === undefined || (sha ? sha !== await digest(text) : was !== text))) faults.push(`plan "${id}" is not the one that the record knows`);
  }
  const sessions = [];
  for (const [id, plan, ...rest] of lines("sessions")) sessions.push({id, plan, lines: []});
  for (const [s, hash, text] of lines("journals")) sessions[s]?.lines.push([hash, text]);
  const revealed = [];
  for (const s of sessions) revealed.push(await checkSession(s, plans, record, faults));
  revealed.forEach((r, i) => r && checkSeat(r, i, faults));
  const rows = checkRows(revealed, faults);
  await checkForm(asWritten, faults);
  const dealt = revealed.filter(r => r).length;
  if (record.whole && record.entries) proved.push(`${record.entries} entries of the study’s record follow one another to the head`);
  if (dealt) proved.push(`${dealt} of ${sessions.length} sessions were dealt again from their seeds, as the seals made before their first trials said`);
  proved.push(`${rows} rows of results were counted again, and p and intervals computed again`);
  if (!faults.length) proved.push(`${asWritten.length} texts and tags of the page are as they were written`);
  return {faults, proved, revealed};
}

// checkSeat holds a row of the table of sessions against the session.
function checkSeat(r, i, faults) {
  const tr = document.querySelector(`tr[data-session="${i}"]`), first = r.entries[0], end = r.entries[r.entries.length - 1];
  if (!tr) { faults.push(`sessions: the row of ${first.session.slice(0, 12)} was removed`); return; }
  const held = (field, value) => {
    const text = tr.querySelector(`[data-f="${field}"]`)?.textContent.trim() ?? "";
    if (!text || !value.startsWith(text)) faults.push(`sessions: ${first.session.slice(0, 12)}: its ${field} is printed as ${text}`);
  };
  held("seal", first.note);
  held("head", end.hash);
}

function show(result) {
  const out = document.getElementById("check-result"), list = (title, items) => {
    const head = document.createElement("p"), ul = document.createElement("ul");
    head.textContent = title;
    for (const item of items) { const li = document.createElement("li"); li.textContent = item; ul.append(li); }
    return [head, ul];
  };
  const verdict = document.createElement("p");
  verdict.className = "verdict";
  verdict.textContent = result.faults.length ? `This page was edited: ${result.faults.length} ${result.faults.length === 1 ? "place" : "places"} found.` : "Nothing on this page was changed since it was written.";
  out.replaceChildren(verdict, ...(result.faults.length ? list("Found:", result.faults) : []), ...list("What was done:", result.proved));
  out.className = result.faults.length ? "bad" : "good";
}

document.getElementById("check").hidden = false;
document.getElementById("check-button").addEventListener("click", async event => {
  const button = event.target;
  button.disabled = true;
  button.textContent = "Checking…";
  try {
    if (!globalThis.crypto?.subtle) throw new Error("this browser offers no cryptography here: open the page from a file or over https");
    show(await check());
  } catch (e) {
    show({faults: [`the check could not be done: ${e.message}`], proved: []});
  }
  button.disabled = false;
  button.textContent = "Check again";
});

// Behind a fold: every trial, as it is dealt again from the seeds.
document.getElementById("trials-fold")?.addEventListener("toggle", async event => {
  const view = document.getElementById("trials-view");
  if (!event.target.open || view.childElementCount) return;
  const {revealed} = await check();
  const table = document.createElement("table"), body = table.createTBody(), head = table.createTHead().insertRow();
  for (const name of ["listener", "session", "trial", "comparison", "kind", "right was", "answer", "seconds"]) {
    const th = document.createElement("th");
    th.scope = "col";
    th.textContent = name;
    head.append(th);
  }
  for (const r of revealed) r?.done.forEach((t, i) => {
    const c = r.plan.comparisons[t.comparison], row = body.insertRow();
    for (const text of [r.entries[0].seat?.listener ?? "", r.entries[0].session.slice(0, 12), i + 1, c.name, c.kind, t.right, t.voided ? "void" : t.said, t.seconds.toFixed(1)]) row.insertCell().textContent = text;
  });
  const frame = document.createElement("div");
  frame.className = "scroll tall";
  frame.tabIndex = 0;
  frame.setAttribute("role", "region");
  frame.setAttribute("aria-label", "Every trial, scrolls");
  frame.append(table);
  view.append(frame);
});
