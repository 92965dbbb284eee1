// Shows how the lines of a sheet are understood while they are typed or pasted.

const form = document.querySelector("[data-sheet]");
if (form) {
  const shown = document.querySelector('[data-part="read"]');
  let timer = null;
  let asked = 0;
  if (form.elements.text.value.trim()) read(); // pasted before this script was here
  form.elements.text.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(read, 250);
  });

  async function read() {
    const mine = ++asked;
    try {
      const answer = await fetch(form.dataset.sheet, { method: "POST", body: new FormData(form) });
      const text = await answer.text();
      if (answer.ok && mine === asked) shown.innerHTML = text; // made and escaped by the bench
    } catch {
      // the button below asks the same without a script
    }
  }
}
