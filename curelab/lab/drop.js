// A file dropped anywhere on the page, or chosen by the button: its bytes go to Python.
// The page is heard by the model, which stays while views of it are made anew, so that no drop is lost meanwhile.
const zones = new Map();                                   // node -> where it says what is wrong

function take(model, file) {
  const large = file && file.size > model.get('most');
  for (const told of zones.values()) told.textContent = large ? model.get('too_large') : '';
  if (file && !large) file.arrayBuffer().then(content => model.send({ name: file.name }, undefined, [content]));
}

function initialize({ model }) {
  const mark = on => { for (const zone of zones.keys()) zone.classList.toggle('cl-over', on); };
  // Another page that is shown in place of this one keeps its views, apart from the document.
  const mine = event => [...(event.dataTransfer?.types || [])].includes('Files') && (!zones.size || [...zones.keys()].some(zone => zone.isConnected));
  function over(event) { if (mine(event)) { event.preventDefault(); mark(true); } }
  function leave(event) { if (!event.relatedTarget) mark(false); }
  function drop(event) {
    if (!mine(event)) return;
    event.preventDefault();
    event.stopPropagation();
    mark(false);
    take(model, event.dataTransfer.files[0]);
  }
  const heard = { dragover: over, dragleave: leave, drop };
  for (const name in heard) document.addEventListener(name, heard[name], true);
  return () => { for (const name in heard) document.removeEventListener(name, heard[name], true); };
}

function render({ model, el }) {
  const zone = node('div', { className: 'cl-drop' }, el), label = node('label', {}, zone);
  const text = node('span', {}, label), input = node('input', { type: 'file', accept: '.toml,.csv,.tsv,.txt' }, label);
  const told = node('span', { className: 'cl-problem' }, zone);
  told.setAttribute('role', 'alert');
  input.addEventListener('change', () => { take(model, input.files[0]); input.value = ''; });
  const pull = () => { text.textContent = model.get('label'); };
  model.on('change:label', pull);
  pull();
  zones.set(zone, told);
  settle(el);
  return () => { model.off('change:label', pull); zones.delete(zone); };
}
export default { initialize, render };
