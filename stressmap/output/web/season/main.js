import { startChart } from "./chart.js";
import { startLanguages } from "./languages.js";

document.documentElement.classList.add("scripted");
startLanguages(document);
document.querySelectorAll(".chart[data-at]").forEach((chart) => startChart(chart));
