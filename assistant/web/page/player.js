// The bar of a recording: play, pause, drag, step from event to event, how fast.
const TELL = { method: "POST", headers: { "Content-Type": "application/json" } };
let held = false; // the thumb is in somebody's hand
let asking = false;

async function ask(asked) {
  asking = true;
  await fetch("/api/player", { ...TELL, body: JSON.stringify(asked) }).catch(() => {});
  asking = false;
}

// While it is dragged the page follows, one question at a time.
function drag(slider) {
  if (!asking) ask({ do: "seek", value: Number(slider.value) });
}

function button(words, label, asked) {
  const made = Object.assign(document.createElement("button"), { type: "button", textContent: words });
  made.setAttribute("aria-label", label);
  made.addEventListener("click", () => ask(asked(made)));
  return made;
}

function build(root) {
  const play = button("", "play or pause", () => ({ do: play.dataset.playing === "true" ? "pause" : "play" }));
  const slider = Object.assign(document.createElement("input"), { type: "range", min: "0", step: "1" });
  slider.setAttribute("aria-label", "time in the recording");
  slider.addEventListener("pointerdown", () => { held = true; });
  for (const end of ["pointerup", "pointercancel"]) slider.addEventListener(end, () => { held = false; });
  slider.addEventListener("input", () => drag(slider));
  slider.addEventListener("change", () => ask({ do: "seek", value: Number(slider.value) }));
  const rate = document.createElement("select");
  rate.setAttribute("aria-label", "how fast");
  rate.addEventListener("change", () => ask({ do: "rate", value: Number(rate.value) }));
  const at = Object.assign(document.createElement("span"), { className: "at" });
  root.append(button("event ◂", "to the event before", () => ({ do: "back" })), play,
    button("▸ event", "to the next event", () => ({ do: "next" })), rate, at, slider);
  root.parts = { play, slider, rate, at };
}

function hhmm(t_s) {
  return `${Math.floor(t_s / 3600)}:${String(Math.floor(t_s / 60) % 60).padStart(2, "0")}`;
}

export function drawPlayer(root, player) {
  root.hidden = !player;
  if (!player) return;
  if (!root.parts) build(root);
  const { play, slider, rate, at } = root.parts;
  if (rate.children.length !== player.rates.length) {
    rate.replaceChildren(...player.rates.map((x) => new Option(`×${x}`, String(x))));
  }
  rate.value = String(player.rate);
  play.textContent = player.playing ? "pause" : "play";
  play.dataset.playing = String(player.playing);
  slider.max = String(Math.max(1, Math.floor(player.made_s)));
  if (!held) slider.value = String(Math.floor(player.t_s));
  const last = player.events.filter((one) => one.t_s <= player.t_s).at(-1);
  const made = player.over ? hhmm(player.made_s) : `${hhmm(player.made_s)} so far`;
  at.textContent = player.error || `${hhmm(player.t_s)} of ${made}${last ? `, last: ${last.words}` : ""}`;
}
