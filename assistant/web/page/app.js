// Newest state in, everything drawn; twice that by the page's own clock, so that silence shows.
import { drawAhead, fetchAhead, makeAhead } from "./ahead.js";
import { drawAlerts, soundButton } from "./alerts.js";
import { drawBeside } from "./beside.js";
import { makeChange } from "./change.js";
import { makeHappened } from "./happened.js";
import { Link } from "./link.js";
import { makeNote } from "./note.js";
import { drawPlayer } from "./player.js";
import { drawQuiet } from "./quiet.js";
import { drawRows } from "./rows.js";
import { drawRuler } from "./ruler.js";
import { sayAlerts } from "./speech.js";
import { drawSpread } from "./spread.js";
import { drawStrip } from "./strip.js";
import { makeWhatIf } from "./whatif.js";

const LATE_S = 2;
const NO_DATA_S = 10;
const TICK_MS = 250;
const BADGES = { simulated: "SIMULATED", replayed: "REPLAY" };
const byId = (id) => document.getElementById(id);

let newest = null;
let late = false;
let maySet = false;

function draw() {
  if (!newest) return;
  const state = newest;
  document.title = `${state.title}: spreadwatch`;
  byId("title").textContent = state.title;
  byId("badge").hidden = state.mode === "live";
  byId("badge").textContent = BADGES[state.mode] ?? "MODE NOT KNOWN";
  byId("clock").textContent = state.utc ? `${state.utc.slice(11, 19)} UTC` : `${Math.floor(state.t_s)} s`;
  byId("ruler-unit").textContent = `(${state.units.m.label})`;
  drawRecording(state.status?.recording?.state ?? "");
  drawAlerts(byId("alerts"), state, maySet);
  drawPlayer(byId("player"), state.player);
  drawQuiet(byId("quiet"), state);
  sayAlerts(state.alerts);
  drawStrip(byId("strip"), state);
  drawForecast(state);
  drawPictures();
  drawRows(byId("rows"), state);
  drawBeside(byId("beside"), byId("rows"), state);
  const told = maySet && !state.player; // a recording takes no words
  if (told && byId("change").hidden) {
    makeChange(byId("change"), state);
    makeNote(byId("note"), state);
    makeHappened(byId("happened"), state);
  }
  byId("happened").hidden = byId("change").hidden = byId("note").hidden = !told;
  drawStatus(byId("status"), state.status ?? {});
}

function drawForecast(state) {
  if (!state.ahead) return; // nobody looks ahead here
  byId("ahead").hidden = byId("whatif").hidden = false;
  makeAhead(byId("ahead"));
  makeWhatIf(byId("whatif"), state, redrawAhead);
  redrawAhead();
  fetchAhead(state.ahead, redrawAhead);
}

const redrawAhead = () => drawAhead(byId("ahead"), newest, late);

function drawPictures() {
  if (!newest) return;
  drawRuler(byId("ruler"), newest, late);
  drawSpread(byId("spread"), newest, late);
}

// Only what is not well is said here; the rest stands with the sources.
function drawRecording(words) {
  const line = byId("not-recording");
  const text = words.startsWith("recording") && !words.includes(";") ? "" : words;
  if (line.textContent !== text) line.textContent = text;
  line.hidden = !text;
}

function drawStatus(list, status) {
  const flat = Object.entries(status).flatMap(([name, value]) => pairs(name, value));
  list.replaceChildren(...flat.flatMap(([name, value]) => {
    const [term, text] = [document.createElement("dt"), document.createElement("dd")];
    term.textContent = name;
    text.textContent = value;
    return [term, text];
  }));
}

function pairs(name, value) {
  if (value === null || typeof value !== "object") return [[name, String(value ?? "--")]];
  return Object.entries(value).flatMap(([key, inner]) => pairs(`${name}: ${key}`, inner));
}

function tick() {
  const silence_s = link.silence_s();
  const seconds = Math.floor(silence_s);
  const wasLate = late;
  late = silence_s > LATE_S;
  document.body.classList.toggle("late", late);
  byId("silence").hidden = !late;
  byId("silence").textContent = late ? `Nothing heard for ${seconds} s. These numbers are old.` : "";
  byId("no-data").hidden = silence_s <= NO_DATA_S;
  byId("no-data-why").textContent = link.ever ? `Nothing heard from the boat's computer for ${seconds} s.`
    : "The boat's computer has sent nothing yet.";
  if (late !== wasLate) drawPictures();
}

const link = new Link("/events", (state) => {
  for (const [name, cause] of Object.entries(state.causes ?? {})) if (state.boat[name]) state.boat[name].cause = cause;
  newest = state;
  tick();
  draw();
});
soundButton(byId("sound"));
setInterval(tick, TICK_MS);
window.addEventListener("resize", drawPictures);
fetch("/api/me").then((answer) => answer.json()).then((me) => { maySet = me.may_set; }).catch(() => {});
