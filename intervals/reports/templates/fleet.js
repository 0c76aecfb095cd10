// filter: rows by engine and status, columns by task; without a script all of it is there
const form = document.getElementById("filter"), matrix = document.getElementById("matrix"), counted = document.getElementById("f-count");
const [engine, task, status] = ["f-engine", "f-task", "f-status"].map((id) => document.getElementById(id));
const lines = [...matrix.tBodies[0].rows].map((row) => ({ row, name: row.cells[0].textContent.toLowerCase(), states: [...row.cells].slice(3).map((cell) => cell.className) }));
const oneColumn = document.createElement("style");
document.head.append(oneColumn);
const filter = () => {
  const name = engine.value.trim().toLowerCase(), place = Number(task.value), word = status.value;
  let shown = 0;
  for (const { row, name: own, states } of lines) {
    const some = place ? [states[place - 1]] : states;
    row.hidden = !(own.includes(name) && some.some((state) => state && (!word || state.split(" ").includes(word))));
    shown += row.hidden ? 0 : 1;
  }
  oneColumn.textContent = place ? `#matrix :is(td, th):nth-child(n + 4):not(:nth-child(${place + 3})) { display: none; }` : "";
  counted.textContent = `${shown} of ${lines.length} engines`;
};
form.hidden = false;
for (const kind of ["input", "change"]) form.addEventListener(kind, filter);
form.addEventListener("reset", () => setTimeout(filter));
form.addEventListener("submit", (event) => event.preventDefault());
filter();
