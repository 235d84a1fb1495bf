// What if I turn: hold the bar and slide to a side, the further the more degrees; let go, and the strip shows the answer.
import { ahead } from "./ahead.js";
import { field, make, options } from "./change.js";
import { say } from "./speech.js";

const STEPS = [15, 30, 45, 60, 90, 120, 150, 180];
const HOLD_MS = 300;
const SHOWN_MS = 30000;
const RATES = ["0.5", "1", "2", "3", "5"];
let back = null;

async function ask(query, answer, redraw) {
  answer.textContent = "Working it out …";
  try {
    const reply = await fetch(`/api/forecast?${new URLSearchParams(query)}`);
    const told = await reply.json();
    if (!reply.ok) {
      answer.textContent = told.error;
      return;
    }
    ahead.asked = { told, got_s: performance.now() / 1000 };
    answer.textContent = "Shown above for half a minute. Look around first.";
    say(told.said);
    if (told.kind === "turn") advise(query, answer);
    clearTimeout(back);
    back = setTimeout(() => showLive(answer, redraw), SHOWN_MS);
    redraw();
  } catch {
    answer.textContent = "The boat's computer does not answer.";
  }
}

// Which turn would keep every line clear: it takes the model some seconds.
async function advise(query, answer) {
  const asked = ahead.asked;
  try {
    const reply = await fetch(`/api/advice?${new URLSearchParams(query)}`);
    const found = await reply.json();
    if (ahead.asked !== asked) return; // another question stands there by now
    answer.replaceChildren(...(reply.ok ? found.lines : [found.error]).map((line) => make("span", line)));
  } catch {
    // the answer itself stands there
  }
}

function showLive(answer, redraw) {
  clearTimeout(back);
  ahead.asked = null;
  answer.textContent = "";
  redraw();
}

// How far the finger has gone, as a side and degrees; null near the middle.
function slid(bar, x) {
  const box = bar.getBoundingClientRect();
  const share = (2 * (x - box.left)) / box.width - 1;
  const step = Math.ceil((Math.abs(share) - 0.08) / (0.92 / STEPS.length));
  if (step < 1) return null;
  return { side: share < 0 ? "port" : "starboard", degrees: STEPS[Math.min(step, STEPS.length) - 1] };
}

function holdBar(bar, onChosen) {
  let since = null;
  let chosen = null;
  const rest = "What if? hold, slide";
  const words = (text) => { bar.querySelector(".chosen").textContent = text; };
  const move = (event) => {
    chosen = slid(bar, event.clientX);
    words(chosen ? `${chosen.degrees}° to ${chosen.side}` : "slide to a side");
    bar.style.setProperty("--at", `${event.clientX - bar.getBoundingClientRect().left}px`);
  };
  words(rest);
  bar.addEventListener("pointerdown", (event) => {
    since = performance.now();
    bar.setPointerCapture(event.pointerId);
    bar.classList.add("held");
    move(event);
  });
  bar.addEventListener("pointermove", (event) => { if (since !== null) move(event); });
  const end = (event) => {
    const held = since !== null && event.type === "pointerup" && performance.now() - since > HOLD_MS;
    since = null;
    bar.classList.remove("held");
    words(rest);
    if (held && chosen) onChosen(chosen);
  };
  bar.addEventListener("pointerup", end);
  bar.addEventListener("pointercancel", end);
}

function typed(form, state) {
  const side = field(form, "Side", make("select"));
  options(side, ["port", "starboard", "straight"]);
  const number = (label) => field(form, label, Object.assign(make("input"), { type: "number", step: "any", inputMode: "decimal", min: 0 }));
  const degrees = number("Degrees");
  const radius = number(`Radius (${state.units.m.label})`);
  const speed = number(`New speed (${state.units["m/s"].label})`);
  return () => ({
    side: side.value,
    ...(degrees.value && side.value !== "straight" ? { degrees: degrees.value } : {}),
    ...(radius.value && side.value !== "straight" ? { radius: radius.value + state.units.m.label } : {}),
    ...(speed.value ? { speed: speed.value + state.units["m/s"].label } : {}),
  });
}

// Build the control once the units are known.
export function makeWhatIf(root, state, redraw) {
  if (root.children.length) return;
  const bar = Object.assign(make("div"), { className: "bar", role: "slider", tabIndex: 0 });
  bar.setAttribute("aria-label", "what if I turn: hold, slide to a side, let go");
  bar.append(Object.assign(make("span", "◀ port"), { className: "end" }), Object.assign(make("span"), { className: "chosen" }),
    Object.assign(make("span", "starboard ▶"), { className: "end" }));
  const rate = make("select");
  options(rate, RATES.map((one) => `${one}°/s`));
  rate.value = "2°/s";
  rate.setAttribute("aria-label", "how fast the turn is");
  const answer = Object.assign(make("p"), { className: "answer", role: "status" });
  const buttons = Object.assign(make("div"), { className: "buttons" });
  const fish = Object.assign(make("button", "Stop for a fish"), { type: "button" });
  const live = Object.assign(make("button", "Back to now"), { type: "button" });
  fish.addEventListener("click", () => ask({ side: "fish" }, answer, redraw));
  live.addEventListener("click", () => showLive(answer, redraw));
  holdBar(bar, (chosen) => ask({ ...chosen, rate: rate.value.replace("°/s", "") }, answer, redraw));
  buttons.append(rate, fish, live);
  const details = make("details");
  const form = make("form");
  const query = typed(form, state);
  form.append(make("button", "What then?"));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const asked = query();
    ask("radius" in asked || !("degrees" in asked) ? asked : { ...asked, rate: rate.value.replace("°/s", "") }, answer, redraw);
  });
  details.append(make("summary", "Type it: radius, another speed"), form);
  root.append(bar, buttons, answer, details);
}
