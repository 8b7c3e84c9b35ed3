// Stands before the script of every part.
function make(tag, attributes, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) made.setAttribute(name, value);
  for (const child of children) made.append(child);
  return made;
}

function decoded(data, kind) {
  return new Blob([Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0))], { type: kind });
}

