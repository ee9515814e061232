function render({ model, el }) {
  let shown = -1, view = null;
  const { part, update, stop } = mount(model, el, part => {
    view ||= sectionView(part, undefined, model.get('editable') ? wanted => model.send(wanted) : null);
    if (shown !== model.get('revision')) { view.show({ ...model.get('meta'), height: model.get('height') }, buffer()); shown = model.get('revision'); }
    else view.measure();
  });
  function buffer() { const { buffer: all, byteOffset, byteLength } = model.get('frame'); return all.slice(byteOffset, byteOffset + byteLength); }
  part.root.classList.add('cl-cut');
  update();
  return () => { view?.stop(); stop(); };
}
export default { render };
