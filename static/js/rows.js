// A file of rows is read into the field, on this device; without this script rows are pasted.

const input = document.querySelector("#csv");
const field = document.querySelector("#f-rows");

if (input && field) {
  input.closest("[data-file]").hidden = false;
  input.addEventListener("change", async () => {
    const [file] = input.files;
    if (!file) return;
    field.value = await file.text();
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
}
