const WORD = { caution: 'Caution', alert: 'Attention' };

function render({ model, el }) {
  const said = node('div', {}, el);
  let tall = 0, wide = 0;
  // An answer, and a warning, keep the height of the longest they have been, or the sliders below would move away under the hand.
  function keep() {
    if (el.clientWidth !== wide) { wide = el.clientWidth; tall = 0; said.style.minHeight = ''; }
    tall = Math.max(tall, said.offsetHeight);
    said.style.minHeight = `${tall}px`;
  }
  function pull() {
    const kind = model.get('kind'), text = model.get('text');
    said.setAttribute('role', kind === 'alert' ? 'alert' : 'status');
    said.className = `cl-say cl-${kind}`;
    const parts = text.split('**').map((part, place) => (place % 2 ? node('strong', { textContent: part }) : part));
    if (text && WORD[kind]) parts.unshift(node('span', { className: 'cl-word', textContent: WORD[kind] }));
    said.replaceChildren(...parts.filter(part => part !== ''));
    if (text && (kind === 'answer' || kind === 'alert')) requestAnimationFrame(keep); else { said.style.minHeight = ''; tall = 0; }
  }
  model.on('change', pull);
  pull();
  settle(el);
  return () => model.off('change', pull);
}
export default { render };
