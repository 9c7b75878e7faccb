// Makes a photo smaller before it is sent: less to send, and what the camera wrote beside the picture stays on the device. Where that
// does not work, the file goes as it is and the server does the same.

const longest = 2048;

for (const form of document.querySelectorAll("[data-photo]")) {
  const input = form.querySelector('input[type="file"]');
  const told = form.querySelector("[data-told]");
  input.accept = "image/jpeg,image/png,image/webp";
  input.addEventListener("change", async () => {
    const [file] = input.files;
    if (!file) return;
    told.textContent = "Making it smaller …";
    const small = await smaller(file).catch(() => null);
    if (small && input.files[0] === file) {
      const list = new DataTransfer();
      list.items.add(small);
      input.files = list.files;
    }
    told.textContent = "";
  });
}

async function smaller(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, longest / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [Math.round(picture.width * scale), Math.round(picture.height * scale)];
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const bytes = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.9));
  return bytes && new File([bytes], "photo.jpg", { type: "image/jpeg" });
}
