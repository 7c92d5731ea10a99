// Saves a file that a page has made.

/** Let the browser save a file, as if a link to it had been clicked. */
export const saveFile = (/** @type {Blob} */ content, /** @type {string} */ name) => {
  const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(content), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
};
