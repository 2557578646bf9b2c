"use strict";
// What this page says is checked by what it carries. check() deals every session again from the seed revealed at its end,
// follows the chains of hashes to the head of the record, recounts, computes p and intervals again, and holds the page, text
// by text, against the digests that were taken when it was written. "heardiff verify FILE.html" does the same, and more.

// parsed is the JSON of an element, or what stands for it where it was broken.
function parsed(id, otherwise) {
  try { return JSON.parse(document.getElementById(id).textContent); } catch { return otherwise; }
}
// designs: of each its answers, which of them is right for each of its equally likely assignments, and a guesser's chance.
const designs = parsed("designs", {});
const study = parsed("study", null);

// Counts are matrices: what was right, what was said.
const addCounts = (sum, m) => m.forEach((row, i) => row.forEach((v, k) => { sum[i][k] += v; }));
function totals(m) {
  let n = 0, k = 0;
  m.forEach((row, i) => row.forEach((v, j) => { n += v; if (i === j) k += v; }));
  return {n, k};
}
const noCounts = design => design.answers.map(() => design.answers.map(() => 0));

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
      const parts = json === "application/json" ? fieldsOf(node.data) : json ? node.data.split("\n") : [node.data];
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

// fieldsOf parts JSON after every few commas, as form.go does.
function fieldsOf(text) {
  const fields = text.split(","), out = [];
  for (let i = 0; i < fields.length; i += 4) out.push(fields.slice(i, i + 4).join(","));
  return out;
}

const asWritten = unitsOf(document.documentElement); // before any other script changes the page

// checkForm holds the page against the digests taken when it was written.
async function checkForm(units, faults) {
  const form = parsed("form", {});
  let marks;
  try { marks = Uint8Array.from(atob(form.marks), c => c.charCodeAt(0)); } catch { faults.push("edited: the digests of the page cannot be read"); return; }
  const was = [];
  for (let i = 0; i + 3 < marks.length; i += 4) was.push((marks[i] << 24 | marks[i + 1] << 16 | marks[i + 2] << 8 | marks[i + 3]) >>> 0);
  const is = units.map(u => fnv(u.text));
  let first = 0, last = 0;
  while (first < is.length && first < was.length && is[first] === was[first]) first++;
  while (last < is.length - first && last < was.length - first && is[is.length - 1 - last] === was[was.length - 1 - last]) last++;
  const shown = text => text.length > 1000 ? text.slice(0, 1000) + "…" : text;
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

// restored puts back the hash of the entry before, which the page carries already and leaves out of each text.
const restored = (text, before) => text?.replace('"previous":"^"', `"previous":"${before}"`);

// checkRecord follows the record to its head.
async function checkRecord(faults) {
  const record = {head: "", entries: 0, title: null, plans: new Map(), sessions: new Map(), marks: new Map(), whole: document.getElementById("record").dataset.part !== "end"};
  for (const [hash, short, body] of lines("record")) {
    const text = restored(short, record.head);
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
    let b = {};
    try { b = JSON.parse(body); } catch { faults.push(`record: the body of ${what} cannot be read`); }
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
  // Of a threshold run only the practice is dealt beforehand.
  if (plan.threshold) plan = {...plan, comparisons: plan.comparisons.map(c => c.kind === "practice" ? c : {...c, trials: 0})};
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
  for (const [hash, short] of session.lines) {
    const text = restored(short, entries[entries.length - 1]?.hash ?? "");
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
  if (!text) { fault("its plan is not on the page, or cannot be read"); return null; }
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
  if (seat && session.listener !== (row?.site ? `${seat.listener}@${row.site.slice(0, 8)}` : seat.listener)) { fault(`it was sealed for listener "${seat.listener}", and counts for "${session.listener}"`); return null; }
  return count(session, plan, seed, entries, fault);
}

async function count(session, plan, seed, entries, fault) {
  const trials = await deal(plan, seed), design = designs[plan.design];
  const counts = plan.comparisons.map(() => noCounts(design)), done = [], climb = plan.threshold ? new Climb(plan, design) : null;
  const offer = async () => {
    const next = climb && current >= trials.length && await climb.next(seed);
    if (next) trials.push(next);
  };
  let current = 0, voids = 0, gaveUp = false;
  for (const e of entries) {
    gaveUp = gaveUp || e.kind === "give-up";
    if (e.kind !== "answer" && e.kind !== "void") continue;
    await offer();
    const t = trials[current];
    if (e.trial !== current + 1 || !t) { fault(`entry ${e.number} is of trial ${e.trial}, but trial ${current + 1} is due`); return null; }
    current++;
    done.push({...t, said: e.answer, voided: e.kind === "void", seconds: e.seconds});
    const graded = climb && plan.comparisons[t.comparison].kind !== "practice";
    if (e.kind === "void" && graded) { voids++; continue; }
    if (e.kind === "void") {
      const below = await stream(seed, `replacement ${voids++}`, 4), again = {comparison: t.comparison, right: design.right[below(design.right.length)]};
      let at = trials.length;
      if (plan.comparisons[t.comparison].kind === "practice") for (at = current; at < trials.length && plan.comparisons[trials[at].comparison].kind === "practice";) at++;
      trials.splice(at, 0, again);
      continue;
    }
    if (!design.answers.includes(e.answer)) { fault(`entry ${e.number} holds an answer that is not of the design`); return null; }
    counts[t.comparison][design.answers.indexOf(t.right)][design.answers.indexOf(e.answer)]++;
    if (graded) climb.answered(t.comparison, e.answer === t.right);
  }
  await offer();
  if (current < trials.length && !gaveUp && !plan.looks) fault("its journal ends before the last trial was answered");
  return {plan, entries, counts, done, gaveUp, listener: session.listener, marks: session.marks};
}

// agrees reports whether what is printed is the rounding of a value, within half a unit of its last digit.
function agrees(printed, value) {
  const text = printed.trim().replace(/\u2212/g, "-").replace(/ %$/, "");
  const power = text.match(/^([\d.]+)·10([⁰¹²³⁴⁵⁶⁷⁸⁹]+)$/);
  if (power) return Math.abs(parseFloat(power[1]) - value / 10 ** [...power[2]].map(d => "⁰¹²³⁴⁵⁶⁷⁸⁹".indexOf(d)).join("")) <= 0.05 + 1e-9;
  if (text === "–") return !Number.isFinite(value);
  if (text.startsWith("<")) return value < parseFloat(text.slice(1));
  if (!/^[+-]?\d+(\.\d+)?$/.test(text)) return false;
  const decimals = (text.split(".")[1] || "").length;
  return Math.abs(parseFloat(text) - value) <= 0.5 * 10 ** -decimals + 1e-9;
}

// checkRows counts each printed row again from the sessions that it adds up, and judges all of them where the page carries all.
function checkRows(sessions, faults) {
  const rows = [];
  for (const [line] of lines("counted")) {
    let row;
    try { row = JSON.parse(line); } catch { faults.push(`results: what row ${rows.length + 1} counts cannot be read`); continue; }
    if (!countable(row, sessions)) continue; // named where it is broken
    row.sum = noCounts(designs[row.design]);
    for (const [s, which] of row.parts || []) for (const i of which) addCounts(row.sum, sessions[s].counts[i]);
    rows.push(row);
  }
  const all = rows.concat(unlistedRows(study, sessions)), numbers = parsed("link-json", {}).rows || [];
  const whole = study?.whole && all.length === study.rows && sessions.every(s => s) && !tooMuch(all, sessions);
  let judged = [];
  try { if (whole) judged = judge(all, sessions, study); } catch (e) { faults.push(`results: by what the page carries they cannot be judged: ${e.message}`); }
  rows.forEach((row, i) => checkRow(row, judged[i], numbers[row.row] || {}, faults));
  return {rows: rows.length, judged: judged.length ? rows.length : 0};
}

const countable = (row, sessions) => designs[row.design] && !(row.parts || []).some(([s, which]) => !sessions[s] || which.some(i => !sessions[s].counts[i]));

// unlistedRows are those that the page leaves out, though the verdicts of the others depend on them.
function unlistedRows(study, sessions) {
  const out = [];
  for (const like of study?.unlisted || []) for (const [share, parts] of like.rows) {
    const row = {design: like.design, balanced: like.balanced, claim: {...like.claim, share}, parts, unlisted: true};
    if (countable(row, sessions)) out.push(row);
  }
  return out;
}

// tooMuch reports whether the exact test of some sum takes longer than a reader waits: "heardiff verify" does it.
const tooMuch = (rows, sessions) => rows.some(row => row.claim.kind !== "listener" && (designs[row.design].rates || row.balanced) && row.parts?.length > 300);

// said are the names of the columns, scale what is printed in per cent.
const said = {low: "95 % from", high: "95 % to", p: "p uncorrected", study: "over the study", upper: "ruled out above", evalue: "e-value"}, scale = {proportion: 100, low: 100, high: 100, upper: 100};

function checkRow(row, judged, numbers, faults) {
  const name = `${row.comparison}, ${row.who}`, tr = document.querySelector(`tr[data-row="${row.row}"]`);
  if (!tr) { faults.push(`results: the row of ${name} was removed`); return; }
  const cell = field => document.querySelector(`tr[data-row="${row.row}"] [data-f="${field}"]`);
  for (const [field, value] of Object.entries(figuresOf(row, judged))) {
    const at = cell(field), column = said[field] || field;
    if (!at) faults.push(`results: ${name}: ${column} was removed`);
    else if (!agrees(at.textContent, value)) faults.push(`results: ${name}: ${column} is printed as ${at.textContent.trim()}, and the answers come to ${Number(value.toPrecision(4))}`);
    else if (Number.isFinite(value) && Math.abs(parseFloat(at.dataset.v) * (scale[field] || 1) - value) > 1e-7 * Math.max(Math.abs(value), 1e-3)) faults.push(`results: ${name}: ${column} is sorted as ${at.dataset.v}, and the answers come to ${value}`);
  }
  if (!judged) return;
  const verdict = verdictOf(judged, row, row.sum, numbers, study), printed = cell("verdict")?.textContent.trim();
  if (printed !== verdict) faults.push(`results: ${name}: the verdict is printed as “${printed}”, and the answers come to “${verdict}”`);
}

// figuresOf are the figures of a row by the names of their cells, as they are printed.
function figuresOf(row, judged) {
  const {n, k} = totals(row.sum), table = pairsOf(row.sum), design = designs[row.design], percent = v => 100 * v;
  const [low, high] = n ? interval(k, n, 0.95) : [NaN, NaN];
  const out = {correct: k, trials: n, proportion: 100 * k / n, low: 100 * low, high: 100 * high, p: NaN};
  if ((design.rates || row.balanced) && bothKinds(table)) out.p = Math.exp(conditional([table]));
  else if (n && !design.rates) out.p = tail(k, n, design.chance);
  if (n && !design.rates) out.evalue = Math.exp(evidenceAbove(k, n, design.chance));
  if (judged) [out.study, out.upper] = [Math.exp(judged.lnStudy), percent(judged.upper)];
  return out;
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
  const faults = [], proved = [], sessions = [], revealed = [];
  const record = await checkRecord(faults), plans = await checkPlans(record, faults);
  if (record.title !== null && squeeze(record.title) !== squeeze(wholeText("title"))) faults.push(`the title is not the one that the record knows: “${record.title}”`);
  if (wholeText("record-head") !== record.head) faults.push("the head printed is not the one to which the record leads");
  if (wholeText("record-short") !== shortHead(record.head)) faults.push("the short form printed is not the head’s");
  for (const [id, plan, seat, came] of lines("sessions")) {
    let sat = {};
    try { sat = JSON.parse(seat); } catch { faults.push(`session ${id.slice(0, 12)}: who sat cannot be read`); }
    sessions.push({id, plan, listener: sat.listener ?? "", marks: sat.marks || [], came, lines: []});
  }
  for (const [s, hash, text] of lines("journals")) sessions[s]?.lines.push([hash, text ?? ""]);
  for (const s of sessions) revealed.push(s.came ? outcomeOf(s, plans, faults) : await checkSession(s, plans, record, faults).catch(e => { faults.push(`session ${s.id.slice(0, 12)}: cannot be dealt again: ${e.message}`); return null; }));
  revealed.forEach((r, i) => r?.entries && checkSeat(r, i, faults));
  const counted = checkRows(revealed, faults);
  await checkForm(asWritten, faults);
  const dealt = revealed.filter(r => r?.entries).length, carried = revealed.filter(r => r && !r.entries).length;
  if (record.whole && record.entries) proved.push(`${record.entries} entries of the study’s record follow one another to the head`);
  if (dealt) proved.push(`${dealt} of ${sessions.length} sessions were dealt again from their seeds, as the seals made before their first trials said`);
  if (carried) proved.push(`the counts of ${carried} sessions were taken from the page, which does not carry their answers: that each session came to these counts, “heardiff verify” shows in the study’s folder`);
  proved.push(`${counted.rows} rows of results were counted again from the sessions, and their proportions, intervals, p and e-values computed again`);
  if (counted.judged) proved.push(`of these ${counted.judged} rows p over the study, what is ruled out, and the verdict were computed again, with what else differs between the chains and what the replay chain hides as the page prints it`);
  else if (dealt || counted.rows) proved.push("p over the study and the verdicts were not computed again here, for the page does not carry every session, one of them is broken, or it would take too long in a browser: “heardiff verify FILE.html” takes the time");
  if (!faults.length) proved.push(`${asWritten.length} texts and tags of the page are as they were written`);
  return {faults, proved, revealed};
}

// outcomeOf is what a session came to, of which the page does not carry the journal.
function outcomeOf(session, plans, faults) {
  try {
    const came = JSON.parse(session.came), plan = JSON.parse(plans.get(session.plan));
    if (came.answers.length !== plan.comparisons.length) throw new Error("it has other comparisons than its plan");
    return {plan, counts: came.answers, gaveUp: !!came.given_up, listener: session.listener, marks: session.marks, done: []};
  } catch (e) {
    faults.push(`session ${session.id.slice(0, 12)}: what it came to cannot be read: ${e.message}`);
    return null;
  }
}

// checkPlans returns the plans by their ids.
async function checkPlans(record, faults) {
  const plans = new Map();
  for (const [id, text] of lines("plans")) {
    try { JSON.parse(text); } catch { faults.push(`plan "${id}" cannot be read`); continue; }
    plans.set(id, text);
    const was = record.plans.get(id), sha = was && was.sha256;
    if (record.whole && record.entries && (was === undefined || (sha ? sha !== await digest(text) : was !== text))) faults.push(`plan "${id}" is not the one that the record knows`);
  }
  return plans;
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
