// The pages of the lab, which of them this is, and the batch in hand.
function render({ model, el }) {
  const bar = node('div', { className: 'cl-nav' }, el), pages = node('nav', { ariaLabel: 'Pages' }, bar), batch = node('span', { className: 'cl-nav-batch' }, bar);
  batch.setAttribute('role', 'status');
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
    const whole = node('a', { href: location.href.replace(/\/doc\/tree\/[^?]*/, `/lab/tree/${model.get('here')}`), textContent: 'Show the notebook', className: 'cl-nav-whole' }, pages);
    if (!/\/doc\/tree\//.test(location.href)) whole.remove();
    batch.textContent = model.get('batch');
  }
  model.on('change', pull);
  pull();
  settle(el);
  return () => model.off('change', pull);
}
export default { render };
