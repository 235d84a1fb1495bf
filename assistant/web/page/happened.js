// Say what happened: one large button for each thing. Shown only where it may be said.
import { field, make, options } from "./change.js";

const KINDS = ["fish on", "hook-up", "landed", "lost", "trip", "re-armed", "checked", "cleaned", "back as it was"];
const NO_ROD = "no rod said";

async function tell(asked) {
  try {
    const headers = { "Content-Type": "application/json" };
    const answer = await fetch("/api/event", { method: "POST", headers, body: JSON.stringify(asked) });
    const said = await answer.json();
    if (!answer.ok) return { words: said.error };
    return { words: `${asked.rod ?? "boat"}: ${asked.kind}, saved as number ${said.saved}.`, number: said.saved };
  } catch {
    return { words: "Not taken: the boat's computer does not answer." };
  }
}

// Build the buttons once the rods are known.
export function makeHappened(details, state) {
  const form = make("form");
  form.className = "happened";
  const rod = field(form, "Rod", make("select"));
  options(rod, [NO_ROD, ...state.order]);
  const answer = Object.assign(make("p"), { className: "answer", role: "status" });
  const back = Object.assign(make("button", "it did not happen"), { type: "button", hidden: true });
  const named = Object.assign(make("select"), { hidden: true });
  named.setAttribute("aria-label", "on which rod it was");
  let last = {};
  const ask = async (asked) => {
    const { words, number } = await tell(asked);
    answer.textContent = words;
    last = { kind: asked.kind, corrects: number };
    back.hidden = number === undefined || asked.kind === "withdrawn";
    named.hidden = back.hidden || Boolean(asked.rod);
    options(named, ["on which rod?", ...state.order]);
  };
  back.addEventListener("click", () => ask({ kind: "withdrawn", corrects: last.corrects }));
  named.addEventListener("change", () => ask({ ...last, rod: named.value }));
  for (const kind of KINDS) {
    const button = Object.assign(make("button", kind), { type: "button" });
    button.addEventListener("click", () => {
      ask(rod.value === NO_ROD ? { kind } : { rod: rod.value, kind });
      rod.value = NO_ROD;
    });
    form.append(button);
  }
  form.append(answer, named, back);
  details.append(form);
}
