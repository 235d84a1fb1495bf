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
  const show = ({ words, number }, of) => {
    answer.textContent = words;
    back.hidden = number === undefined || of === "withdrawn";
    back.dataset.number = String(number);
  };
  back.addEventListener("click", async () => {
    show(await tell({ kind: "withdrawn", corrects: Number(back.dataset.number) }), "withdrawn");
  });
  for (const kind of KINDS) {
    const button = Object.assign(make("button", kind), { type: "button" });
    button.addEventListener("click", async () => {
      show(await tell(rod.value === NO_ROD ? { kind } : { rod: rod.value, kind }), kind);
      rod.value = NO_ROD;
    });
    form.append(button);
  }
  form.append(answer, back);
  details.append(form);
}
