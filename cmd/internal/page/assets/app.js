// The page: draws what the stream tells. It decides nothing; words come ready from
// the program.
"use strict";
const $ = id => document.getElementById(id);
const word = document.body.dataset;
const span = 60;      // seconds on the time axis
const kept = 300;     // seconds of traces kept here
const quietFor = 2.5; // seconds without a word from the program: the connection is gone

const traces = { v: [[], []], t: [[], []], c: [[], []] }; // the reading, trim, the lambda that is commanded
let now = 0, view = null, marks = { bands: [], ticks: [] };
let heard = performance.now(), age = 0, ended = false;

// --- stream -----------------------------------------------------------------

let source;
function connect() {
  source = new EventSource("events");
  source.onmessage = e => { heard = performance.now(); age = 0; take(JSON.parse(e.data)); };
  source.addEventListener("beat", e => { heard = performance.now(); age = +e.data; staleness(); });
  source.addEventListener("end", () => { ended = true; source.close(); staleness(); });
  // A lost connection comes back by itself; a refused one does not.
  source.onerror = () => { if (source.readyState === EventSource.CLOSED && !ended) setTimeout(connect, 2000); };
}

function take(m) {
  if (m.whole) {
    for (const k in traces) traces[k] = [[], []];
    ended = false;
  }
  now = m.now;
  for (const k in traces) {
    const [xs, ys] = traces[k];
    for (const [x, y] of m[k] || []) {
      const last = xs[xs.length - 1];
      if (x - last > 2) { xs.push((x + last) / 2); ys.push(null); } // nothing came: no line
      xs.push(x); ys.push(y);
    }
    let old = 0;
    while (old < xs.length && xs[old] < now - kept) old++;
    if (old > 500) { xs.splice(0, old); ys.splice(0, old); }
  }
  if (m.axis) marks = m.axis;
  if (m.view) { const was = view; view = m.view; if (view.wide && !(was && was.wide)) build(); show(was); }
  if (m.tone) tone(m.tone);
  draw();
  play();
  staleness();
}

function staleness() {
  const silent = (performance.now() - heard) / 1000;
  let text = "";
  if (!(view && view.over)) {
    if (ended) text = word.ended;
    else if (silent > quietFor) text = `${word.noConnection} ${Math.floor(silent)} ${word.seconds}`;
    else if (age > 2) text = `${word.noData} ${Math.floor(age)} ${word.seconds}`;
  }
  document.body.classList.toggle("stale", text !== "");
  $("stale").hidden = text === "";
  if ($("stale").textContent !== text) $("stale").textContent = text;
}
setInterval(staleness, 250);

// --- words ------------------------------------------------------------------

// set writes a text; a number keeps its unit on its line.
function set(id, text) {
  text = text.replace(/(\d) (?=\D)/g, "$1\u00a0");
  const e = $(id);
  if (e.textContent !== text) e.textContent = text;
}

function show(was) {
  const big = $("big");
  big.className = [view.side, view.loud && "loud", view.good].filter(Boolean).join(" ");
  if (!was || was.big !== view.big) fit();
  const spoken = view.big.replace(/ \d+$/, "");
  set("spoken", spoken);
  set("say", view.say); set("caution", view.caution); set("second", view.over ? "" : view.second); set("last", view.last); set("cond", (view.cond || []).join(" · "));
  const over = document.body.classList.contains("over");
  document.body.classList.toggle("over", view.over);
  if (over !== view.over) requestAnimationFrame(() => { fit(); size(); });
  $("answer").hidden = !view.over || !view.proofs;
  $("do").hidden = !view.step;
  $("do").lastElementChild.textContent = view.step;
  if (was && was.voice !== view.voice) speak(view.voice, view.loud);
  if (view.over && !(was && was.over)) answer();
  for (const a of view.arcs) arc(a);
  said();
  buttons(was);
  alarm(view.alarm);
}

// fit lets the sentences below the word be as large as leaves its capitals 10 mm (64 px on a phone).
const ruler = document.createElement("canvas").getContext("2d");
function fit() {
  if (!view) return;
  for (const part of view.over ? [1, .85, .72, .62, .54] : [1]) {
    $("step").style.setProperty("--sentence", part);
    if (letters() * ruler.measureText("H").actualBoundingBoxAscent / 100 >= 64) return;
  }
}

// letters breaks the step into the lines that allow the largest letters, whose size in px it returns.
function letters() {
  const box = $("big"), words = view.big.split(" ");
  const w = box.clientWidth, h = box.clientHeight - 12;
  ruler.font = "800 100px " + getComputedStyle(box).fontFamily;
  const width = s => ruler.measureText(s.replace(/\d+/g, d => d.length < 2 ? "00" : d)).width;
  let best = 0, lines = [view.big], squeeze = 1;
  for (let cuts = 0; cuts < 1 << (words.length - 1); cuts++) {
    const ls = [words[0]];
    for (let i = 1; i < words.length; i++) cuts >> (i - 1) & 1 ? ls.push(words[i]) : ls[ls.length - 1] += " " + words[i];
    // Letters may be narrowed where that makes them higher, as long as they stay wider
    // than half their height.
    const wide = w / (Math.max(...ls.map(width)) / 100 + .2), s = Math.min(wide / .62, h / (ls.length * .94));
    if (s > best * 1.02) { best = s; lines = ls; squeeze = Math.min(1, wide / s); }
  }
  box.style.fontSize = best + "px";
  box.style.setProperty("--squeeze", squeeze);
  box.replaceChildren(...lines.map(l => { const d = document.createElement("div"); d.textContent = l; return d; }));
  return best;
}

function arc(a) {
  const g = document.querySelector(`[data-arc="${a.id}"]`);
  if (!g) return void redraw(); // its sensor has turned out to be a wide-range one
  const side = [...g.classList].find(c => c.startsWith("of-"));
  g.setAttribute("class", ["arc", a.state, a.open && "open", side].filter(Boolean).join(" "));
  g.querySelector("title").textContent = a.says;
  g.setAttribute("aria-label", a.says);
  g.querySelector(".sign").textContent = a.sign;
  const fill = g.querySelector(".fill");
  if (fill) fill.setAttribute("stroke-dasharray", `${100 * a.fill} 200`);
}

// The ring is one stop of the Tab key; arrow keys go round it. What an arc says is
// shown to who cannot hear it, and to who taps it.
let ringArcs;
function ring() {
  ringArcs = [...document.querySelectorAll("[data-arc]")];
  document.querySelector("svg.ring").setAttribute("role", "group");
  ringArcs.forEach((g, i) => {
    g.setAttribute("role", "img");
    g.setAttribute("tabindex", i ? -1 : 0);
    g.onfocus = g.onclick = () => { $("arc").dataset.of = g.dataset.arc; said(); };
    g.onblur = () => { delete $("arc").dataset.of; said(); };
    g.onkeydown = e => {
      const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
      if (!by) return;
      e.preventDefault();
      const next = ringArcs[(i + by + ringArcs.length) % ringArcs.length];
      g.setAttribute("tabindex", -1); next.setAttribute("tabindex", 0); next.focus();
    };
  });
}
ring();

// redraw takes the ring from the server anew: it has got another arc.
let redrawing = false;
async function redraw() {
  if (redrawing) return;
  redrawing = true;
  try {
    const page = new DOMParser().parseFromString(await (await fetch(".")).text(), "text/html");
    document.querySelector("svg.ring").replaceWith(page.querySelector("svg.ring"));
    ring();
    for (const a of view.arcs) if (document.querySelector(`[data-arc="${a.id}"]`)) arc(a);
  } catch { /* the next view tries again */ }
  redrawing = false;
}

function said() {
  const of = $("arc").dataset.of, a = of && view && view.arcs.find(a => a.id === of);
  $("arc").hidden = !a;
  if (a) set("arc", a.sign + " " + a.says);
}

function answer() {
  $("proofs").replaceChildren(...(view.proofs || []).map(p => {
    const li = document.createElement("li"), b = document.createElement("b"), why = document.createElement("span");
    li.className = p.state; b.textContent = p.sign; why.className = "why"; why.textContent = p.why;
    li.append(b, p.title, why);
    return li;
  }));
  $("next").start = view.from;
  $("next").replaceChildren(...(view.next || []).map(n => { const li = document.createElement("li"); li.textContent = n; return li; }));
}

// A list that goes on below its edge says so.
function more() { const e = $("answer"); $("more").hidden = e.scrollTop + e.clientHeight > e.scrollHeight - 24; }
$("answer").onscroll = more;

// --- near and far -------------------------------------------------------------

// After the last touch or key the page is for who stands away from it. It changes
// after a tap, not under it.
let idle;
function near() {
  document.body.classList.remove("far");
  clearTimeout(idle);
  idle = setTimeout(() => document.activeElement.matches("button:focus-visible") ? near() : document.body.classList.add("far"), 8000);
}
for (const e of ["click", "keydown", "focusin", "scroll"]) addEventListener(e, near);
near();

// --- values -----------------------------------------------------------------

function signed(x, digits = 0) { return (x > 0 ? "+" : x < 0 ? "−" : "") + Math.abs(x).toFixed(digits); }

// Digits that change more than twice a second cannot be read.
let toldAt = -Infinity, later = null;
function values() {
  const wait = toldAt + 500 - performance.now();
  if (wait > 0) { later = later || setTimeout(() => { later = null; values(); }, wait); return; }
  toldAt = performance.now();
  const last = k => { const ys = traces[k][1]; for (let i = ys.length - 1; i >= 0; i--) if (ys[i] !== null) return ys[i]; return null; };
  const v = last("v"), p = last("t");
  const box = (id, text, said) => { $(id).querySelector(".digits").textContent = text; $(id).querySelector(".word").textContent = said; };
  if (v !== null && view) {
    if (view.wide) $("volts").querySelector(".label").textContent = view.label;
    $("volts").className = "value " + view.reads;
    box("volts", v.toFixed(2), view.volts);
  }
  if (p !== null && view) box("trim", signed(p, 1), view.motion);
}

// --- traces -----------------------------------------------------------------

const css = name => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const dpr = () => window.devicePixelRatio || 1;

function chart(id, key, range, level, stroke) {
  const axis = () => css("--quiet"), grid = () => css("--rule");
  const u = new uPlot({
    width: 300, height: 100, cursor: { show: false }, legend: { show: false }, padding: [() => tight || key === "v" ? 8 : 22, 18, () => key !== "v" ? 0 : tight ? 8 : 4, 0], // above the trim: the ticks
    scales: { x: { time: false, range: () => [Math.max(now, span) - span, Math.max(now, span)] }, y: { range } },
    axes: [
      { show: key === "t", size: 25, gap: 7, stroke: axis, grid: { show: false }, ticks: { show: false }, font: "13px system-ui",
        values: (u, xs) => xs.map(clock) },
      { size: 40, gap: 2, stroke: axis, grid: { stroke: grid, width: 1 }, ticks: { show: false }, font: "13px system-ui",
        splits: (u, i, lo, hi) => u.bbox.height < 45 * dpr() ? [lo, hi] : [lo, level, hi], values: (u, ys) => ys.map(y => key === "v" ? String(y) : signed(y)) },
    ],
    series: [{}, { stroke, width: 2.5, points: { show: false }, spanGaps: false }],
    hooks: { drawClear: [shade], draw: [key === "t" ? ticks : commanded] },
  }, traces[key], $(id));
  return u;
}

function shade(u) {
  const c = u.ctx;
  c.save();
  c.beginPath(); c.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height); c.clip();
  for (const b of marks.bands) {
    const x0 = u.valToPos(b.from, "x", true), x1 = u.valToPos(b.to ?? now, "x", true);
    c.fillStyle = css(b.side === "lean" ? "--lean-shade" : "--rich-shade");
    c.fillRect(x0, u.bbox.top, x1 - x0, u.bbox.height);
    if (u !== charts[0]) continue;
    c.fillStyle = css(b.side === "lean" ? "--lean" : "--rich");
    c.fillRect(x0, b.side === "lean" ? u.bbox.top + u.bbox.height - 3 * dpr() : u.bbox.top, x1 - x0, 3 * dpr());
  }
  c.restore();
}

// The lambda that is commanded, a thin line from one reading of it to the next.
function commanded(u) {
  if (!view || !view.wide) return;
  const c = u.ctx, [xs, ys] = traces.c;
  c.save();
  c.beginPath(); c.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height); c.clip();
  c.strokeStyle = css("--ink"); c.lineWidth = dpr(); c.setLineDash([6 * dpr(), 4 * dpr()]);
  c.beginPath();
  xs.forEach((x, i) => ys[i] !== null && c[i && ys[i - 1] !== null ? "lineTo" : "moveTo"](u.valToPos(x, "x", true), u.valToPos(ys[i], "y", true)));
  c.stroke(); c.restore();
}

// Ticks that would lie over each other move apart, and none leaves the drawing.
function ticks(u) {
  if (tight) return;
  const c = u.ctx, right = u.bbox.left + u.bbox.width, y = u.bbox.top - 12 * dpr();
  c.save();
  c.font = `700 ${16 * dpr()}px system-ui`;
  c.textAlign = "center"; c.textBaseline = "middle";
  const shown = marks.ticks.filter(t => t.at >= u.scales.x.min && t.at <= u.scales.x.max);
  const half = shown.map(t => c.measureText(t.sign).width / 2 + 3 * dpr()), x = shown.map(t => u.valToPos(t.at, "x", true));
  for (let i = 1; i < x.length; i++) x[i] = Math.max(x[i], x[i - 1] + half[i - 1] + half[i]);
  for (let i = x.length - 1, most = right; i >= 0; i--) { x[i] = Math.min(x[i], most - half[i]); most = x[i] - half[i]; }
  shown.forEach((t, i) => {
    if (x[i] < u.bbox.left) return;
    c.fillStyle = css(t.side === "lean" ? "--lean" : t.side === "rich" ? "--rich" : "--ink");
    c.fillText(t.sign, x[i], y);
  });
  c.restore();
}

// The line has the colour of the side it is on.
function sided(u) {
  const g = u.ctx.createLinearGradient(0, u.bbox.top, 0, u.bbox.top + u.bbox.height);
  const at = v => Math.min(1, Math.max(0, (u.valToPos(v, "y", true) - u.bbox.top) / u.bbox.height || 0));
  if (view && view.wide) { // of lambda the lean side is above
    const lean = at(1.02), rich = at(.98);
    for (const [x, c] of [[0, "--lean"], [lean, "--lean"], [lean, "--ink"], [rich, "--ink"], [rich, "--rich"], [1, "--rich"]]) g.addColorStop(x, css(c));
    return g;
  }
  const rich = at(.55), lean = at(.35); // between them neither
  for (const [x, c] of [[0, "--rich"], [rich, "--rich"], [rich, "--ink"], [lean, "--ink"], [lean, "--lean"], [1, "--lean"]]) g.addColorStop(x, css(c));
  return g;
}

function most(ys) { let m = 0; for (const y of ys) if (y !== null && Math.abs(y) > m) m = Math.abs(y); return m; }
// The axis of the sensor: volts, or the lambda of a wide-range one, wider by tenths where a reading lies outside.
function reach() {
  if (!view || !view.wide) return [0, most(traces.v[1]) > 1.05 ? 1.3 : 1];
  const ys = traces.v[1].filter(y => y !== null);
  return [Math.min(.8, ...ys.map(y => Math.floor(10 * y) / 10)), Math.max(1.2, ...ys.map(y => Math.ceil(10 * Math.min(y, 2)) / 10))];
}
let charts = [], tight = false; // no room but for the traces
function build() {
  charts.forEach(u => u.destroy());
  charts = [
    chart("chart-v", "v", reach, view && view.wide ? 1 : .45, sided),
    chart("chart-t", "t", () => { const m = most(traces.t[1]); const s = [30, 50].find(s => m <= s) || 100; return [-s, s]; }, 0, () => css("--ink")),
  ];
  size();
}
function size() {
  tight = $("charts").clientHeight < 88;
  $("charts").classList.toggle("tight", tight);
  for (const u of charts) {
    const b = u.root.parentElement;
    if (b.clientWidth > 20 && b.clientHeight > 20) u.setSize({ width: b.clientWidth, height: b.clientHeight });
  }
}
let drawing = false;
function draw() {
  if (drawing) return;
  drawing = true;
  requestAnimationFrame(() => {
    drawing = false;
    if (!document.body.classList.contains("over")) { charts[0].setData(traces.v); charts[1].setData(traces.t); }
    values();
  });
}

// --- buttons ----------------------------------------------------------------

function buttons(was) {
  const list = view.buttons || [];
  if (was && JSON.stringify(was.buttons) === JSON.stringify(view.buttons)) return;
  const focus = document.activeElement && document.activeElement.dataset.do;
  const mains = list.filter(b => ["lean", "rich", "enter", "release"].includes(b.do)).length || 1;
  $("buttons").replaceChildren(...list.map((b, i) => {
    const e = document.createElement("button");
    e.type = "button"; e.textContent = b.text; e.dataset.do = b.do;
    e.className = [i < mains && "main", i < mains && mains === 1 && "only", b.side].filter(Boolean).join(" ");
    e.onclick = () => act(e, b.do === "note" ? { do: "note", text: word.markNote } : { do: b.do });
    return e;
  }));
  const again = focus && document.querySelector(`#buttons [data-do="${focus}"]`);
  if (again) again.focus();
}

// act asks the program for something; the button says whether it was taken.
async function act(e, body) {
  e.classList.add("sent");
  let ok = false;
  try {
    ok = (await fetch("do", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) })).ok;
  } catch { /* said below */ }
  setTimeout(() => e.classList.remove("sent"), 300);
  if (ok || e.classList.contains("refused")) return;
  const text = e.textContent;
  e.classList.add("refused");
  if (text) e.textContent = word.refused;
  setTimeout(() => { e.classList.remove("refused"); if (e.textContent === word.refused) e.textContent = text; }, 1500);
}

// --- the pace of a replay -----------------------------------------------------

const clock = x => Math.floor(x / 60) + ":" + String(Math.floor(x % 60)).padStart(2, "0");
let moving = false; // a finger is on the slider
function play() {
  const p = view && view.play;
  $("play").hidden = !p;
  if (!p) return;
  const place = $("place");
  place.max = Math.ceil(Math.max(p.end, now));
  if (!moving) place.value = now;
  const at = clock(+place.value);
  place.setAttribute("aria-valuetext", at);
  set("clock", `${at} / ${clock(+place.max)} · ${p.speed}`);
  const pause = document.querySelector("#play [data-do=pause]"), text = p.still ? word.go : word.stop;
  if (pause.textContent !== text && !pause.classList.contains("refused")) pause.textContent = text;
}
$("place").oninput = () => { moving = true; play(); };
$("place").onchange = e => { moving = false; act(e.target, { do: "seek", to: +e.target.value }); };
for (const e of document.querySelectorAll("#play button")) {
  const by = { back: -10, on: 10 }[e.dataset.do];
  e.onclick = () => act(e, by ? { do: "seek", to: Math.max(0, now + by) } : { do: e.dataset.do });
}

// --- tones ------------------------------------------------------------------

// Each tone is [start in s, length in s, Hz]; they differ by rhythm as well as by
// pitch. A sawtooth of 600 to 1200 Hz has four and more components between 1 and 4
// kHz, which carry through a workshop.
const tones = {
  seen: [[0, .12, 1000]],
  adds: [[0, .12, 600], [.18, .12, 800], [.36, .4, 1070]],
  cuts: [[0, .4, 1070], [.46, .12, 800], [.64, .12, 600]],
  silent: [[0, .7, 520], [.9, .7, 520]],
  release: [[0, .17, 900], [.17, .17, 1200], [.33, .17, 900], [.5, .17, 1200], [.67, .17, 900], [.83, .17, 1200]],
  verdict: [[0, .15, 800], [.25, .15, 800], [.5, 1.4, 600], [.5, 1.4, 750], [.5, 1.4, 900]],
};
let audio = null;
function tone(name) {
  document.body.dataset.tone = name;
  if (audio && tones[name]) sound(audio, name);
}
function sound(audio, name) {
  for (const [at, long, hz] of tones[name]) {
    const o = audio.createOscillator(), g = audio.createGain(), t = audio.currentTime + .02 + at;
    o.type = "sawtooth"; o.frequency.value = hz;
    g.gain.setValueAtTime(0, t);
    g.gain.linearRampToValueAtTime(.3, t + .01);
    g.gain.setValueAtTime(.3, t + long - .02);
    g.gain.linearRampToValueAtTime(0, t + long);
    o.connect(g).connect(audio.destination);
    o.start(t); o.stop(t + long);
  }
}
// The words that matter are spoken where the browser has a voice, and felt where the phone can
// shake; both stay as they were set.
const setting = (id, on) => { try { if (on !== undefined) localStorage[id] = on; return localStorage[id] !== "false"; } catch { return true; } };
const can = { voice: "speechSynthesis" in window, buzz: "vibrate" in navigator };
for (const id of ["voice", "buzz"]) {
  const set = on => $(id).setAttribute("aria-pressed", on);
  set(setting(id));
  $(id).onclick = () => { const on = !setting(id); setting(id, on); set(on); if (id === "voice" && !on && can.voice) speechSynthesis.cancel(); };
}
function speak(text, loud) {
  if (!text || !audio) return;
  if (can.buzz && setting("buzz")) navigator.vibrate(loud ? [300, 100, 300, 100, 300] : 150);
  if (!can.voice || !setting("voice")) return;
  speechSynthesis.cancel();
  const say = new SpeechSynthesisUtterance(text);
  say.lang = document.documentElement.lang;
  speechSynthesis.speak(say);
}
let alarming = null;
function alarm(on) {
  if (on && !alarming) { tone("release"); alarming = setInterval(() => tone("release"), 1000); }
  if (!on && alarming) { clearInterval(alarming); alarming = null; }
}

// --- sound, light, sleep -----------------------------------------------------

// The screen stays on by the browser's own lock. Over plain http from another machine
// no browser grants it; then a film of black that plays behind the page keeps most
// phones awake. Where that is refused too, the words say what to do.
let lock = null, film = null;
async function awake() {
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.onrelease = () => { if (document.visibilityState === "visible") wake(); };
    return "lock";
  } catch { lock = null; }
  try {
    if (!film) {
      film = document.createElement("video");
      film.src = "film.mp4"; film.muted = film.playsInline = true; film.className = "film";
      film.setAttribute("aria-hidden", "true");
      // Begun anew by hand: some phones sleep over what only loops.
      film.ontimeupdate = () => { if (film.currentTime > 8) film.currentTime = 0; };
      document.body.append(film);
    }
    await Promise.race([film.play(), new Promise((_, no) => setTimeout(no, 3000))]);
    return "film";
  } catch { return "none"; }
}
async function wake() {
  const by = await awake();
  document.body.dataset.screen = by;
  $("sound").textContent = { lock: word.awake, film: word.film, none: word.soundOn }[by];
  $("dark").hidden = by !== "none";
}
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible" || !audio) return;
  audio.resume();
  wake();
});
$("dark").onclick = () => { $("dark").hidden = true; };
$("sound").onclick = () => {
  if (!audio) audio = new (window.AudioContext || window.webkitAudioContext)();
  audio.resume();
  $("sound").setAttribute("aria-pressed", "true");
  document.body.classList.add("sounding");
  for (const id in can) $(id).hidden = !can[id];
  tone("seen");
  wake();
};
function theme(name) {
  document.documentElement.dataset.theme = name;
  $("theme").textContent = name === "sun" ? word.night : word.sun;
  try { localStorage.theme = name; } catch { /* private window */ }
}
$("theme").onclick = () => { theme(document.documentElement.dataset.theme === "sun" ? "night" : "sun"); build(); draw(); };

let stored = null;
try { stored = localStorage.theme; } catch { /* private window */ }
theme(stored || (matchMedia("(prefers-color-scheme: light)").matches ? "sun" : "night"));
build();
const fitting = new ResizeObserver(() => { fit(); size(); more(); });
for (const id of ["big", "charts", "answer"]) fitting.observe($(id));
connect();
