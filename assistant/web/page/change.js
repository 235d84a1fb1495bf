// Say what was changed on a rod. Shown only where it may be said: on the boat's own computer.

const STATES = ["aboard", "going out", "fishing", "fish on", "coming in", "unknown"];

export const make = (tag, text = "") => Object.assign(document.createElement(tag), { textContent: text });
export const options = (select, names) => select.replaceChildren(...names.map((name) => make("option", name)));

export function field(form, label, input) {
  const box = make("label", label);
  box.append(input);
  form.append(box);
  return input;
}

const number = () => Object.assign(make("input"), { type: "number", step: "any", inputMode: "decimal" });

export async function send(path, asked) {
  const body = JSON.stringify(asked);
  const headers = { "Content-Type": "application/json" };
  try {
    const answer = await fetch(path, { method: "POST", headers, body });
    if (answer.ok) return `${asked.rod}: taken.`;
    const said = await answer.text();
    return said.startsWith("{") ? JSON.parse(said).error : said;
  } catch {
    return "Not taken: the boat's computer does not answer.";
  }
}

// Build the form once the rods are known.
export function makeChange(details, state) {
  const form = make("form");
  const rod = field(form, "Rod", make("select"));
  options(rod, state.order);
  const rodState = field(form, "The rod is", make("select"));
  options(rodState, ["as it was", ...STATES]);
  const out = field(form, `Line out (${state.units.m.label})`, number());
  const dial = field(form, "Setting", number());
  const answer = Object.assign(make("p"), { className: "answer", role: "status" });
  form.append(make("button", "Set"), answer);
  const dialRange = () => {
    const range = state.dials[rod.value];
    const labels = state.labels[rod.value];
    dial.disabled = !range && !labels;
    dial.type = labels ? "text" : "number";
    dial.value = "";
    dial.placeholder = labels ? labels.join(" ") : range ? `${range[0]} to ${range[1]}` : "no planer";
  };
  rod.addEventListener("change", dialRange);
  dialRange();
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const asked = { rod: rod.value };
    if (out.value) asked.line_out_m = Number(out.value) / state.units.m.scale;
    if (dial.value) asked.setting = dial.type === "text" ? dial.value.trim() : Number(dial.value);
    if (STATES.includes(rodState.value)) asked.rod_state = rodState.value;
    answer.textContent = await send("/api/setting", asked);
  });
  details.append(form);
}
