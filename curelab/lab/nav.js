// The pages of the lab, which of them this is, and the batch in hand.
const LONGEST = 3000, AGAIN = 500, LOOKS = 40; // ms, ms, times
function render({ model, el }) {
  const bar = node('div', { className: 'cl-nav' }, el), pages = node('nav', { ariaLabel: 'Pages' }, bar), hand = node('span', { className: 'cl-nav-hand' }, bar);
  const whole = node('a', { className: 'cl-nav-whole' }, hand), batch = node('span', { className: 'cl-nav-batch' }, hand), undo = node('button', { type: 'button', textContent: 'Undo' }, hand);
  batch.setAttribute('role', 'status');
  undo.addEventListener('click', () => count('undone'));
  function count(name) { model.set(name, model.get(name) + 1); model.save_changes(); return model.get(name); }
  // JupyterLab changes from one document to another inside one page, so it is the notebook, not the window, that is seen and left.
  let shown = false;
  function look() { if (document.visibilityState === 'visible') { if (shown) count('seen'); } else leave(); }
  function leave() { if (shown) count('left'); }
  const watch = new IntersectionObserver(found => {
    const now = found.at(-1).isIntersecting;
    if (!now) { leave(); tell(); }
    shown = now;
    if (now) look();
  });
  requestAnimationFrame(() => {
    watch.observe(el.closest('.jp-NotebookPanel') ?? bar);
    if (!alone()) for (const cell of cells()) if (cell.node.closest('.jp-Notebook') === el.closest('.jp-Notebook')) cell.inputHidden = false;
  });
  const heard = [[document, 'visibilitychange', look], [window, 'focus', look], [window, 'pagehide', leave]];
  for (const [where, what, hear] of heard) where.addEventListener(what, hear);
  // The page that is left writes what was changed before the next one looks; a kernel that is busy is not waited for long.
  function written() {
    const wanted = count('left');
    return new Promise(done => {
      const check = () => { if (model.get('kept') >= wanted) end(); }, late = setTimeout(() => end(), LONGEST);
      function end() { clearTimeout(late); model.off('change:kept', check); done(); }
      model.on('change:kept', check);
    });
  }
  async function follow(event, link) {
    if (event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    if (link.dataset.ready) { delete link.dataset.ready; return; }
    event.stopPropagation();
    batch.textContent = 'Saving…';
    await written();
    batch.textContent = `Opening ${link.textContent}…`;
    setTimeout(tell, LONGEST); // where it is not opened after all
    link.dataset.ready = 'yes';
    link.click();
  }
  function pull() {
    pages.replaceChildren();
    for (const [file, words] of model.get('pages')) {
      const link = node('a', { href: file, textContent: words }, pages);
      if (file === model.get('here')) link.setAttribute('aria-current', 'page');
      // JupyterLab's own way of following a link in a page: the document opens without loading the whole lab again.
      link.dataset.commandlinkerCommand = 'rendermime:handle-local-link';
      link.dataset.commandlinkerArgs = JSON.stringify({ path: file, id: '', scope: 'server' });
      link.addEventListener('click', event => follow(event, link));
    }
    whole.textContent = alone() ? 'Show the notebook' : 'Back to the page';
    whole.href = location.href.replace(/\/(doc|lab)(\/workspaces\/[^/]*)?\/tree\/[^?]*/, `/${alone() ? 'lab' : 'doc'}/tree/${model.get('here')}`);
    tell();
  }
  function tell() { batch.textContent = model.get('batch'); undo.disabled = !model.get('can_undo'); }
  model.on('change:pages change:here', pull);
  model.on('change:batch change:can_undo', tell);
  pull();
  settle(el);
  return () => { model.off('change:pages change:here', pull); model.off('change:batch change:can_undo', tell); watch.disconnect(); for (const [where, what, hear] of heard) where.removeEventListener(what, hear); };
}
// JupyterLab waits two seconds for a widget. One that comes at that very moment, while the machine is busy, it calls missing for good.
// The widgets are there when this script runs, so a cell that says so is drawn once more.
function initialize() {
  let looks = 0;
  const looking = setInterval(() => {
    for (const output of document.querySelectorAll('.jp-OutputArea-output')) if (/^Error displaying widget: model not found/.test(output.textContent)) again(output);
    if (++looks >= LOOKS) clearInterval(looking);
  }, AGAIN);
}
function again(output) {
  for (const { outputArea } of cells()) if (outputArea?.node.contains(output)) outputArea.model.fromJSON(outputArea.model.toJSON());
}
// The cells of all notebooks that are open.
const cells = () => [...window.jupyterapp?.shell.widgets('main') ?? []].flatMap(page => [...page.content?.widgets ?? []]);
// Whether one page fills JupyterLab.
const alone = () => /\/doc\/tree\//.test(location.href);
export default { initialize, render };
