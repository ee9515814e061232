// A file dropped anywhere on the page, or chosen by the button: its bytes go to Python.
function render({ model, el }) {
  const zone = node('div', { className: 'cl-drop' }, el), label = node('label', {}, zone);
  const text = node('span', {}, label), input = node('input', { type: 'file', accept: '.toml,.csv,.tsv,.txt' }, label);
  const told = node('span', { className: 'cl-problem' }, zone);
  told.setAttribute('role', 'alert');
  async function take(file) {
    told.textContent = '';
    if (!file) return;
    if (file.size > model.get('most')) { told.textContent = model.get('too_large'); return; }
    model.send({ name: file.name }, undefined, [await file.arrayBuffer()]);
  }
  const holdsFile = event => [...(event.dataTransfer?.types || [])].includes('Files');
  function over(event) { if (holdsFile(event)) { event.preventDefault(); zone.classList.add('cl-over'); } }
  function leave(event) { if (!event.relatedTarget) zone.classList.remove('cl-over'); }
  function drop(event) {
    if (!holdsFile(event) || !zone.isConnected) return;
    event.preventDefault();
    event.stopPropagation();
    zone.classList.remove('cl-over');
    take(event.dataTransfer.files[0]);
  }
  input.addEventListener('change', () => { take(input.files[0]); input.value = ''; });
  const heard = { dragover: over, dragleave: leave, drop };
  for (const name in heard) document.addEventListener(name, heard[name], true);
  const pull = () => { text.textContent = model.get('label'); };
  model.on('change:label', pull);
  pull();
  settle(el);
  return () => { model.off('change:label', pull); for (const name in heard) document.removeEventListener(name, heard[name], true); };
}
export default { render };
