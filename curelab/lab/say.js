const WORD = { caution: 'Caution', alert: 'Attention' };

function render({ model, el }) {
  const said = document.createElement('div');
  el.append(said);
  function pull() {
    const kind = model.get('kind'), text = model.get('text');
    said.setAttribute('role', kind === 'alert' ? 'alert' : 'status');
    said.className = `cl-say cl-${kind}`;
    const strong = part => Object.assign(document.createElement('strong'), { textContent: part });
    const parts = text.split('**').map((part, place) => (place % 2 ? strong(part) : part));
    if (text && WORD[kind]) parts.unshift(Object.assign(document.createElement('span'), { className: 'cl-word', textContent: WORD[kind] }));
    said.replaceChildren(...parts.filter(part => part !== ''));
  }
  model.on('change', pull);
  pull();
  return () => model.off('change', pull);
}
export default { render };
