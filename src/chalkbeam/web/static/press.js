// The page at the press: shows what the press says, sends taps, counts the dwell down.
import { html, render } from "./preact.module.js";

const root = document.getElementById("press");
const may = root.dataset.may === "press";
const texts = JSON.parse(document.getElementById("texts").textContent);
const caps = JSON.parse(document.getElementById("caps").textContent);
const token = document.querySelector("meta[name=token]").content;

const t = (key, values = {}) =>
  texts[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);

// What the page knows beyond the press's own state.
const own = { panel: "", more: false, fine: false, said: "", lost: false, ends: null, rung: null, shown: "", cooling: [] };
let state = null;
let seen = ""; // the number of the state that is shown: what a tap is about

// -- taps ------------------------------------------------------------------------------------

let queue = Promise.resolve();
let chain = []; // numbers of states that follow each other by this page's own taps alone

function tap(button, text = "") {
  if (!may) return;
  const id = Array.from(crypto.getRandomValues(new Uint8Array(12)), (byte) =>
    byte.toString(16).padStart(2, "0"),
  ).join("");
  const about = state?.number;
  // One after the other. Of moves each may be about what its forerunner has left; any other tap
  // is about what was shown when it was tapped, and nothing else.
  queue = queue.then(() => send({ id, button, text }, about, REPEATS.test(button)));
}

async function send(body, about, follows) {
  const number = follows && chain.includes(about) ? chain.at(-1) : about;
  for (let tries = 0; tries < 4; tries += 1) {
    try {
      const answer = await fetch("/press/tap", {
        method: "POST",
        headers: { "content-type": "application/json", accept: "application/json", "x-token": token },
        body: JSON.stringify({ ...body, seen: number }),
      });
      const told = await answer.json();
      own.said = answer.ok ? "" : told.said;
      if (answer.ok) chain = [...(chain.at(-1) === number ? chain : [number]), told.number].slice(-50);
      draw();
      return;
    } catch {
      await new Promise((done) => setTimeout(done, 300 * 2 ** tries));
    }
  }
  own.said = t("press.not_sent");
  draw();
}

// -- what comes from the press ---------------------------------------------------------------

function take(fresh) {
  state = fresh;
  own.lost = false;
  if (fresh.number !== seen) {
    seen = fresh.number;
    own.said = "";
    if (fresh.heading + fresh.step !== own.shown) document.querySelector(".info")?.scrollTo(0, 0);
    own.shown = fresh.heading + fresh.step;
    if (fresh.step !== "lay" && !fresh.moving && own.panel === "nudge") own.panel = "";
  }
  own.ends = fresh.left == null ? null : performance.now() + fresh.left * 1000;
  if (own.ends === null) own.rung = null;
  own.cooling = (fresh.cooling ?? []).map(([what, left]) =>
    [what, left == null ? null : performance.now() + left * 1000]);
  draw();
}

function listen() {
  const events = new EventSource("/press/events");
  events.onmessage = (event) => take(JSON.parse(event.data));
  events.onerror = () => {
    own.lost = true;
    draw();
    if (events.readyState === EventSource.CLOSED) setTimeout(listen, 2000);
  };
}

// -- the dwell -------------------------------------------------------------------------------

const left = () =>
  own.ends === null ? null : Math.max(0, Math.ceil((own.ends - performance.now()) / 1000 - 1e-3));

const cools = () => own.cooling.map(([what, ends]) =>
  [what, ends === null ? null : Math.max(0, Math.ceil((ends - performance.now()) / 1000 - 1e-3))]);

let counted = "", cooled = 0;
setInterval(() => {
  const now = left();
  const cooling = cools();
  const all = JSON.stringify([now, cooling]);
  if (all === counted) return;
  counted = all;
  const done = cooling.filter(([, seconds]) => seconds === 0).length;
  if ((now === 0 && own.rung !== seen) || done > cooled) ring();
  if (now === 0) own.rung = seen;
  cooled = done;
  draw();
}, 100);

let sound = null;
function ring() {
  if (sound === null) return;
  const tone = sound.createOscillator();
  const loud = sound.createGain();
  tone.frequency.value = 880;
  loud.gain.setValueAtTime(0.3, sound.currentTime);
  loud.gain.exponentialRampToValueAtTime(0.001, sound.currentTime + 0.9);
  tone.connect(loud).connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + 0.9);
}

// -- keys: a pedal, a presenter or a scanner may be plugged into this computer -----------------

const NAMES = {
  " ": "on", PageDown: "on", PageUp: "back", Backspace: "back", Escape: "leave",
  ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", 0: "planned",
  b: "dark", ".": "dark", c: "squares", h: "keys", g: "collar", s: "skip", x: "spoil", u: "undo",
  p: "pause", l: "turn_left", r: "turn_right", Enter: "keep",
};
const SHIFTED = {
  ArrowLeft: "fine_left", ArrowRight: "fine_right", ArrowUp: "fine_up", ArrowDown: "fine_down",
  L: "fine_turn_left", R: "fine_turn_right", U: "redo", Enter: "keep_batch",
};
const REPEATS = /^(fine_)?(left|right|up|down|turn_left|turn_right)$/;
const SCANNED = 50; // ms; characters that follow sooner come from a scanner
let scan = { text: "", timer: 0 };

function keyed(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || !state?.ready) return;
  const target = event.target;
  if (event.key === "Escape" && own.panel === "piece") return show("piece");
  if (target.matches("input:not([type=checkbox]), textarea, select")) return;
  if (target.matches("button, a") && (event.key === " " || event.key === "Enter")) return;
  const digit = /^[1-9]$/.test(event.key) ? `choose_${event.key}` : undefined;
  const plain = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const name = digit ?? (event.shiftKey ? SHIFTED[event.key] : undefined) ?? NAMES[plain];
  const scannable = event.key.length === 1 && event.key !== " ";
  if (event.repeat && !REPEATS.test(name ?? "")) return event.preventDefault();
  if (event.key === "Enter" && scan.text.length > 1) {
    clearTimeout(scan.timer);
    tap("piece", scan.text);
    scan = { text: "", timer: 0 };
    return event.preventDefault();
  }
  if (scannable) {
    clearTimeout(scan.timer);
    const text = scan.text + event.key;
    const alone = () => {
      scan = { text: "", timer: 0 };
      if (text.length === 1) act(name, plain);
    };
    scan = { text, timer: setTimeout(alone, SCANNED) };
    return event.preventDefault();
  }
  if (name) {
    act(name, plain);
    event.preventDefault();
  }
}

function act(name, plain) {
  if (plain === "j") show("piece");
  else if (name) tap(name);
}

// -- drawing ---------------------------------------------------------------------------------

function show(panel) {
  own.panel = own.panel === panel ? "" : panel;
  own.more = false;
  draw();
  document.querySelector("#number")?.focus();
}

const cap = (name) => (caps[name] ? html`<kbd aria-hidden="true">${caps[name]}</kbd>` : "");

function Button({ name, label, kind = "", does, off = false }) {
  const click = (event) => {
    if (event.detail > 0) event.currentTarget.blur(); // a pedal's space must not tap it again
    (does ?? (() => tap(name)))();
  };
  return html`<button type="button" data-name=${name} class=${kind} disabled=${off} onClick=${click}>
    <span>${label ?? t(`press.${name}`)}</span>${cap(name)}</button>`;
}

const Picture = () => html`<div class="picture" role="img" aria-label=${t("press.picture")}
  dangerouslySetInnerHTML=${{ __html: state.picture }}></div>`;
const CLOSED = ["prepress", "press", "second"]; // the light is off while the press is closed

const Steps = () => html`<ol class="steps">${state.steps.map((step) => html`
  <li class=${step === state.step ? "now" : ""} aria-current=${step === state.step ? "step" : null}>
    ${t(`press.step_${step}`)}</li>`)}</ol>`;

function Head() {
  const mode = state.paused ? "press.paused" : state.dark && !CLOSED.includes(state.step) ? "press.light_off" : "";
  return html`<div class="head">
    <p class="which">${state.step && state.heading}${mode && html` <strong class="mode">${t(mode)}</strong>`}</p>
    <h1>${state.piece}</h1>
    <p class="whose">${state.whose}</p>
    ${state.step && html`<p class="place">${state.where}: ${state.art}</p>`}
    ${state.step && html`<${Steps} />`}</div>`;
}

const Said = () => html`<div class="said" aria-live="polite">
  ${own.lost && html`<p class="stop">${t("press.lost")}</p>`}
  ${state.trouble && html`<p class="stop">${state.trouble}</p>`}
  ${own.said && html`<p class="caution">${own.said}</p>`}
  ${state.remark && html`<p class="caution">${state.remark}</p>`}</div>`;

const Facts = () => html`<div class="facts">
  ${state.fitting && html`<p class="caution">${state.fitting}</p>`}
  ${state.lie && html`<p class="note">${t("press.lie", { words: state.lie })}</p>`}
  ${state.prepress && html`<p class="caution">${t("press.prepress", { words: state.prepress })}</p>`}
  ${!CLOSED.includes(state.step) && state.warnings.map(([weight, said]) => html`<p class=${weight}>
    ${state.step && html`<strong>${t(`press.${weight}`)}:</strong> `}${said}</p>`)}
  ${!state.step && html`<p class="note">${t("press.ends")}</p>`}
  ${CLOSED.includes(state.step) && html`<p class="caution">${t("press.hot")}</p>`}
  ${state.settings && html`<p><span class="soft">${t("press.by_sheet")}:</span> ${state.settings}</p>`}
  ${state.moved && html`<p>${t("press.moved", { words: state.moved })}</p>`}</div>`;

function Countdown() {
  const now = left();
  if (now === null && CLOSED.includes(state.step)) return html`<p class="do">${state.meanwhile || t("press.close")}</p>
    ${state.afterwards && html`<p class="then">${t("press.then", { words: state.afterwards })}</p>`}`;
  if (now === null) return state.afterwards && html`<p class="do">${state.afterwards}</p>`;
  const over = now === 0;
  return html`<div class=${over ? "count over" : "count"} role="timer">
    ${!over && html`<strong>${now}</strong>`}
    <span>${over ? state.afterwards || t("press.open_press")
      : `${t("press.seconds")}${state.meanwhile && `: ${state.meanwhile}`}`}</span>
    <progress max=${state.dwell || 1} value=${now} aria-hidden="true"></progress></div>`;
}

// What was put aside to cool: told wherever one works meanwhile.
const Cooling = () => own.cooling.length === 0 ? "" : html`<section class="list">
  <h2>${t("press.cooling")}</h2><ul>${cools().map(([what, now]) => html`<li><span>${what}</span>
  <em>${now === null ? "" : now === 0 ? t("press.cooled") : t("press.cools", { seconds: now })}</em></li>`)}</ul>
  </section>`;

const Rows = ({ title, rows }) => rows.length === 0 ? "" : html`<section class="list">
  <h2>${title}</h2><ul>${rows.map(([what, more]) => html`<li><span>${what}</span><em>${more}</em></li>`)}</ul>
  </section>`;

function Question() {
  const [asked, ...answers] = state.asked;
  if (state.typing) return html`<${Piece} button="typed" />`;
  return html`<section class="panel" aria-label=${asked}><h2>${asked}</h2><div class="answers">
    ${answers.map((words, index) => html`<${Button} name=${`choose_${index + 1}`}
      label=${words.replace(/^\d\s+/, "")} />`)}
    ${!state.to_set && html`<${Button} name="leave" label=${t("press.cancel")} kind="quiet" />`}
    </div></section>`;
}

function Piece({ button }) {
  const go = (event) => {
    event.preventDefault();
    const text = event.currentTarget.elements.number.value;
    own.panel = "";
    if (text.trim()) tap(button, text);
    draw();
  };
  const close = () => (button === "typed" ? tap("leave") : show("piece"));
  return html`<form class="panel" onSubmit=${go}>
    <label for="number">${t("press.piece_label")}</label>
    <input id="number" name="number" maxlength="40" autocomplete="off" inputmode="text" />
    <div class="answers"><button class="go">${t("press.go")}</button>
      <${Button} name="close" label=${t("press.cancel")} kind="quiet" does=${close} /></div></form>`;
}

function Pad() {
  const fine = own.fine ? "fine_" : "";
  const move = (way, sign) => html`<button type="button" class=${`pad-${way}`} data-name=${way}
    aria-label=${t(`press.${way}`)} onClick=${(event) => {
      if (event.detail > 0) event.currentTarget.blur();
      tap(fine + way);
    }}>${sign}</button>`;
  const flip = (event) => {
    own.fine = event.currentTarget.checked;
    draw();
  };
  return html`<section class="panel pad" aria-label=${t(state.moving ? "press.collar" : "press.nudge")}>
    <p class="readout" aria-live="polite"><strong>${state.moved ? t("press.moved", { words: state.moved }) : t("press.planned")}</strong>
      <span class="soft">${t("press.fine_about")}</span></p>
    <div class="cross">${move("turn_left", "⟲")}${move("up", "↑")}${move("turn_right", "⟳")}
      ${move("left", "←")}<label class="fine"><input type="checkbox" checked=${own.fine} onChange=${flip} />
      ${t("press.fine")}</label>${move("right", "→")}${move("down", "↓")}</div>
    <div class="answers">
      <${Button} name="keep_batch" /><${Button} name="planned" />
      ${state.moving
        ? html`<${Button} name="leave" label=${t("press.cancel")} kind="quiet" />`
        : html`<${Button} name="close" label=${t("press.less")} kind="quiet" does=${() => show("nudge")} />`}</div></section>`;
}

const Places = () => state.locations.length < 2 ? "" : html`<div class="places">
  <span class="soft">${t("press.where")}</span>${state.locations.map(([name, here], index) => html`
  <button type="button" class="small" aria-pressed=${here} onClick=${(event) => {
    event.currentTarget.blur();
    tap(`choose_${index + 1}`);
  }}>${name}<kbd aria-hidden="true">${index + 1}</kbd></button>`)}</div>`;

// What is asked, moved or counted now comes before what was to be known beforehand.
function Middle() {
  if (state.asked.length > 0 && may) return html`<${Question} />`;
  if (own.panel === "piece" && may) return html`<${Piece} button="piece" />`;
  if ((state.moving || (own.panel === "nudge" && state.step === "lay")) && may) return html`<${Pad} />`;
  return html`<${Countdown} /><${Cooling} /><${Facts} />
    <${Rows} title=${t("press.next")} rows=${state.coming.slice(0, 3)} />
    <${Rows} title=${t("press.last")} rows=${state.results.slice(0, state.step ? 1 : 4)} />`;
}

function whatNext() {
  if (state.step === "press" && state.steps.includes("peel")) return "opened";
  if (state.step === "peel" && state.steps.includes("second")) return "closed";
  if (state.step === "load" && state.steps.includes("prepress")) return "prepress_load";
  return state.step || "finished";
}

function Buttons() {
  if (!may) return html`<footer class="buttons"><p class="soft">${t("press.looking")}</p></footer>`;
  if (state.asked.length > 0 && !state.to_set) return html`<footer class="buttons"></footer>`; // answered above
  const over = !state.step;
  const on = state.paused ? t("press.go_on")
    : state.to_set && state.asked.length > 1 ? state.asked[1].replace(/^\d\s+/, "")
    : state.moving ? t("press.keep") : t(`press.on_${whatNext()}`);
  const full = () => document.fullscreenElement
    ? document.exitFullscreen() : document.documentElement.requestFullscreen();
  const more = () => {
    own.more = !own.more;
    draw();
  };
  return html`<footer class="buttons">
    ${own.more && html`<div class="row more"><${Places} />
      <${Button} name="redo" /><${Button} name="pause"
        label=${t(state.paused ? "press.go_on" : "press.pause")} />
      <${Button} name="dark" /><${Button} name="squares" />
      <${Button} name="keys" /><${Button} name="piece" does=${() => show("piece")} />
      ${document.fullscreenEnabled && html`<${Button} name="full" does=${full} />`}
      <${Button} name="leave" kind="quiet" />
      ${own.sleepy && html`<p class="soft">${t("press.sleepy")}</p>`}</div>`}
    <div class="row"><${Button} name="back" off=${over} /><${Button} name="undo" />
      <${Button} name="skip" off=${over} /><${Button} name="spoil" off=${over} />
      <${Button} name="nudge" off=${state.step !== "lay"} does=${() => show("nudge")} />
      <${Button} name="collar" off=${!["load", "lay"].includes(state.step)} />
      <${Button} name="more" label=${t(own.more ? "press.less" : "press.more")} kind="quiet" does=${more} />
      ${over ? html`<${Button} name="end" kind="go wide" />`
        : html`<${Button} name="on" label=${on} kind="go wide" />`}</div></footer>`;
}

const Progress = () => html`<div class="progress">
  <progress max=${state.total || 1} value=${state.pressed} aria-hidden="true"></progress>
  <p><span>${t("press.of", state)}${state.skipped ? ` · ${t("press.skipped", { count: state.skipped })}` : ""}${
    state.spoiled ? ` · ${t("press.spoiled", { count: state.spoiled })}` : ""}</span>
  <span>${state.title}</span><span>${state.step ? t("press.time", state) : ""}</span></p></div>`;

function App() {
  if (state === null) return html`<div class="wait"><h1>${t("press.title")}</h1>${own.lost && html`
    <p class="wrong">${t("press.lost")}</p>`}</div>`;
  if (!state.running) return html`<div class="wait"><h1>${t("press.idle")}</h1>
    ${state.failed && html`<p class="wrong">${state.failed}</p>`}<p>${t("press.idle_about")}</p>
    ${state.order && html`<p>${!state.failed && html`<a class="button go" href=${`/orders/${state.order}/report`}>${t("press.to_report")}</a> `}
      <a class=${state.failed ? "button go" : "button"} href=${`/orders/${state.order}#press`}>${t("press.to_order")}</a></p>`}
    <p><a class=${state.order ? "button" : "button go"} href="/orders">${t("menu.orders")}</a> <a class="button" href="/">${t("press.home")}</a></p></div>`;
  if (!state.ready) return html`<div class="wait"><h1>${t("press.getting_ready")}</h1>
    <p>${state.title}</p>${state.pieces > 0 && html`<progress max=${state.pieces} value=${state.done}
      aria-label=${t("press.getting_ready")}></progress><p>${t("press.placed", state)}</p>`}
    <p>${t("press.hot")}</p><p>${t("press.light")}</p>${own.sleepy && html`<p class="soft">${t("press.sleepy")}</p>`}</div>`;
  return html`<div class="work"><${Picture} /><div class="info" tabindex="0"><${Head} /><${Said} /><${Middle} /></div><${Progress} /><${Buttons} /></div>`;
}

function draw() {
  render(html`<${App} />`, root);
}

// -- staying awake ---------------------------------------------------------------------------

// Over plain http no browser has a wake lock: then the device's own settings decide, and it is said.
async function stayAwake() {
  try {
    await navigator.wakeLock.request("screen");
    own.sleepy = false;
  } catch {
    own.sleepy = true;
  }
  draw();
}

document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") stayAwake();
});
document.addEventListener("pointerdown", () => (sound ??= new AudioContext()), { once: true });
if (may) document.addEventListener("keydown", keyed);
root.textContent = "";
stayAwake();
draw();
listen();
