// Say what a sensor at a rod showed, or what was seen there. Shown only where it may be said.
import { field, make, options, send } from "./change.js";

// Build the form once the rods are known.
export function makeNote(details, state) {
  const form = make("form");
  const rod = field(form, "Rod", make("select"));
  options(rod, state.order);
  const kind = field(form, "What", make("select"));
  options(kind, Object.keys(state.kinds));
  const value = field(form, "It shows", make("input"));
  const words = Object.assign(make("datalist"), { id: "note-words" });
  value.setAttribute("list", words.id);
  const depth = field(form, `Where, if known (${state.units.m.label})`, make("input"));
  depth.type = "number";
  depth.step = "any";
  const answer = Object.assign(make("p"), { className: "answer", role: "status" });
  form.append(words, make("button", "Note it"), answer);
  const offer = () => {
    const row = state.kinds[kind.value];
    const label = state.units[row.unit]?.label.replace("°", "deg");
    words.replaceChildren(...row.words.map((word) => Object.assign(make("option"), { value: word })));
    value.placeholder = [...row.words, ...(label ? [`a number of ${label}`] : [])].join(", ");
    value.value = "";
    form.dataset.label = label ?? "";
  };
  kind.addEventListener("change", offer);
  offer();
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const asked = { rod: rod.value, kind: kind.value, value: value.value.trim() };
    if (/^[-+.\d]+$/.test(asked.value) && form.dataset.label) asked.unit = form.dataset.label;
    if (depth.value) asked.depth = Number(depth.value) / state.units.m.scale;
    answer.textContent = await send("/api/note", asked);
  });
  details.append(form);
}
