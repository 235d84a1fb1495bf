// What the judge of quiet spells says: all in one size of type, "cannot tell" like any other answer. A glance: of what
// differs the largest only; the report has it all.
const SAID_AFTER_S = 900;

export function quietLines(quiet, t_s) {
  if (!quiet) return [];
  const silent_s = quiet.strike_s === null ? 0 : t_s - quiet.strike_s;
  const spell = silent_s < SAID_AFTER_S ? [] : [`Quiet ${Math.floor(silent_s / 60)} min: ${quiet.word}`];
  const odd = quiet.word !== "usual";
  return [
    ...spell,
    ...(spell.length && odd ? [quiet.reason, `Test: ${quiet.trial}`] : []),
    ...quiet.differs.slice(0, odd ? 1 : 2).map((words) => `Differs: ${words}`),
    ...quiet.suspects,
  ];
}

export function drawQuiet(list, state) {
  const lines = quietLines(state.quiet, state.t_s);
  list.hidden = !lines.length;
  while (list.children.length > lines.length) list.lastChild.remove();
  lines.forEach((words, i) => {
    const item = list.children[i] ?? list.appendChild(document.createElement("li"));
    if (item.textContent !== words) item.textContent = words;
  });
}
