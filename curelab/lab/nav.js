// The pages of the lab, which of them this is, and the batch in hand.
function render({ model, el }) {
  const bar = node('div', { className: 'cl-nav' }, el), pages = node('nav', { ariaLabel: 'Pages' }, bar), hand = node('span', { className: 'cl-nav-hand' }, bar);
  const whole = node('a', { textContent: 'Show the notebook', className: 'cl-nav-whole' }), batch = node('span', { className: 'cl-nav-batch' }, hand), undo = node('button', { type: 'button', textContent: 'Undo' }, hand);
  batch.setAttribute('role', 'status');
  undo.addEventListener('click', () => count('undone'));
  function count(name) { model.set(name, model.get(name) + 1); model.save_changes(); }
  function back() { if (document.visibilityState === 'visible') count('seen'); }
  document.addEventListener('visibilitychange', back);
  function pull() {
    pages.replaceChildren();
    for (const [file, words] of model.get('pages')) {
      const link = node('a', { href: file, textContent: words }, pages);
      if (file === model.get('here')) link.setAttribute('aria-current', 'page');
      // JupyterLab's own way of following a link in a page: the document opens without loading the whole lab again.
      link.dataset.commandlinkerCommand = 'rendermime:handle-local-link';
      link.dataset.commandlinkerArgs = JSON.stringify({ path: file, id: '', scope: 'server' });
      link.addEventListener('click', event => { if (!event.ctrlKey && !event.metaKey) event.preventDefault(); });
    }
    whole.href = location.href.replace(/\/doc\/tree\/[^?]*/, `/lab/tree/${model.get('here')}`);
    if (/\/doc\/tree\//.test(location.href)) hand.prepend(whole); else whole.remove();
    tell();
  }
  function tell() { batch.textContent = model.get('batch'); undo.disabled = !model.get('can_undo'); }
  model.on('change:pages change:here', pull);
  model.on('change:batch change:can_undo', tell);
  pull();
  settle(el);
  return () => { model.off('change:pages change:here', pull); model.off('change:batch change:can_undo', tell); document.removeEventListener('visibilitychange', back); };
}
export default { render };
