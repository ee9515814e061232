const WORD = { caution: 'Caution', alert: 'Attention' };

function render({ model, el }) {
  const said = node('div', {}, el);
  function pull() {
    const kind = model.get('kind'), text = model.get('text');
    said.setAttribute('role', kind === 'alert' ? 'alert' : 'status');
    said.className = `cl-say cl-${kind}`;
    const parts = text.split('**').map((part, place) => (place % 2 ? node('strong', { textContent: part }) : part));
    if (text && WORD[kind]) parts.unshift(node('span', { className: 'cl-word', textContent: WORD[kind] }));
    said.replaceChildren(...parts.filter(part => part !== ''));
  }
  model.on('change', pull);
  pull();
  settle(el);
  return () => model.off('change', pull);
}
export default { render };
