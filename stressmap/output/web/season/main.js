import { startChart } from "./chart.js";
import { startFinding } from "./find_block.js";
import { startLanguages } from "./languages.js";

document.documentElement.classList.add("scripted");
startLanguages(document);
startFinding(document);

// a picture begins once it is near or focused: to begin hundreds at once would take seconds
const begin = (chart) => {
  if (chart.dataset.begun) return;
  chart.dataset.begun = "yes";
  startChart(chart);
};
const near = new window.IntersectionObserver((entries) => {
  entries.filter((entry) => entry.isIntersecting).forEach((entry) => begin(entry.target));
}, { rootMargin: "400px" });
document.querySelectorAll(".chart[data-at]").forEach((chart) => {
  near.observe(chart);
  chart.addEventListener("focus", () => begin(chart));
});
