// The chosen language also for what reads the page aloud, and for browsers whose styles cannot see a choice.
export function startLanguages(page) {
  page.querySelectorAll("#languages input").forEach((choice) => {
    const choose = () => {
      if (choice.checked) page.documentElement.lang = choice.value;
    };
    choice.addEventListener("change", choose);
    choose();
  });
}
