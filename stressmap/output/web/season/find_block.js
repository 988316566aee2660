// Finds a block by what is typed of its name; the list of all stays where there is no script.
function plain(text) {
  return text.normalize("NFKD").replace(/[^\p{L}\p{N}]/gu, "").toLowerCase();
}

export function isNamed(name, typed) {
  return plain(name).includes(plain(typed));
}

export function startFinding(page) {
  const field = page.getElementById("find-block");
  if (!field) return;
  const items = [...page.querySelectorAll("#blocks li")];
  const shown = () => items.filter((item) => !item.hidden);
  field.addEventListener("input", () => {
    items.forEach((item) => {
      item.hidden = !isNamed(item.textContent, field.value);
    });
  });
  field.addEventListener("keydown", (event) => {
    const [first] = shown();
    if (event.key === "Enter" && first) first.querySelector("a").click();
  });
}
