// What every widget needs of the page. Put in front of each script.
function node(name, properties = {}, parent = null) {
  const made = Object.assign(document.createElement(name), properties);
  // On the inputs themselves, or JupyterLab takes the keys: the arrows would change the cell, and x would cut it.
  if (/^(input|select|button)$/.test(name)) made.setAttribute('data-lm-suppress-shortcuts', 'true');
  if (parent) parent.append(made);
  return made;
}

// Calls `take` when a field is left or Enter is pressed in it. JupyterLab keeps the browser from saying so on Enter by itself.
function entered(input, take) {
  input.addEventListener('change', take);
  input.addEventListener('keydown', event => { if (event.key === 'Enter') { event.stopPropagation(); take(); } });
}

// Marks the cell and the notebook a widget has come to stand in, so that the style sheet can take away what a cook need not see.
// (A :has() on the notebook would do it without a script, but the browser would check it again at every redraw.)
function settle(el) {
  requestAnimationFrame(() => {
    el.closest('.jp-CodeCell')?.classList.add('cl-cell');
    const notebook = el.closest('.jp-Notebook');
    notebook?.classList.add('cl-bench');
    // JupyterLab calls its cells a feed, and a screen reader looks for articles in one.
    for (const cell of notebook?.querySelectorAll('.jp-WindowedPanel-viewport > :not([role])') ?? []) cell.setAttribute('role', 'article');
  });
}
