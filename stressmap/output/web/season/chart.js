// A picture that is stepped through visit by visit, by touch or arrow keys; the figures are those of its table.
export function nearest(places, at) {
  let best = 0;
  places.forEach((place, i) => {
    if (Math.abs(place - at) < Math.abs(places[best] - at)) best = i;
  });
  return best;
}

export function stepped(now, key, count) {
  const last = count - 1;
  if (key === "Home") return 0;
  if (key === "End") return last;
  if (key === "ArrowLeft") return now === null ? last : Math.max(now - 1, 0);
  if (key === "ArrowRight") return now === null ? 0 : Math.min(now + 1, last);
  return null;
}

function told(table, row) {
  const heads = [...table.tHead.rows[0].cells].map((cell) => cell.innerText.trim());
  const cells = [...row.cells].map((cell) => cell.innerText.trim());
  return cells.map((cell, i) => (i ? `${heads[i]}: ${cell}` : cell)).join("; ");
}

export function startChart(chart) {
  const places = chart.dataset.at.split(" ").map(Number);
  const table = document.getElementById(chart.dataset.table);
  const rows = table.tBodies[0].rows;
  const cursor = chart.querySelector(".cursor");
  const drawn = chart.querySelector(".drawn");
  const line = chart.querySelector(".told");
  let now = null;
  const show = (i) => {
    if (now !== null) rows[now].classList.remove("here");
    now = i;
    rows[i].classList.add("here");
    cursor.hidden = false;
    cursor.style.left = `${places[i] * 100}%`;
    cursor.style.height = `${drawn.offsetHeight}px`;
    line.textContent = told(table, rows[i]);
  };
  const point = (event) => {
    const box = drawn.getBoundingClientRect();
    show(nearest(places, (event.clientX - box.left) / box.width));
  };
  drawn.addEventListener("pointerdown", point);
  drawn.addEventListener("pointermove", point);
  chart.addEventListener("keydown", (event) => {
    const next = stepped(now, event.key, places.length);
    if (next === null) return;
    event.preventDefault();
    show(next);
  });
  show(places.length - 1);
  document.querySelectorAll("#languages input").forEach((choice) => {
    choice.addEventListener("change", () => {
      if (now !== null) show(now);
    });
  });
}
