// A file that is too large is refused before it is sent.
for (const field of document.querySelectorAll("input[type=file][data-limit]")) {
  field.addEventListener("change", () => {
    const size = field.files[0]?.size ?? 0;
    const limit = Number(field.dataset.limit);
    field.setCustomValidity(size > limit
      ? `This file has ${(size / 1e6).toFixed(1)} MB; at most ${limit / 1e6} MB can be read.`
      : "");
    field.reportValidity();
  });
}
