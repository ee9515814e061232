let controls = 0;

function send(model, name, value) { model.set(name, value); model.save_changes(); }

// Each builder fills the box and returns a function that brings it up to date with the model.
const BUILD = {
  pick(model, box, id) {
    const radio = model.get('radio');
    let built = null, group = null, select = null, legend;
    if (radio) {
      const set = node('fieldset', {}, box);
      legend = node('legend', {}, set);
      group = node('div', { className: 'cl-choices' }, set);
    } else {
      legend = node('label', { htmlFor: id }, box);
      select = node('select', { id }, box);
      select.addEventListener('change', () => send(model, 'index', select.selectedIndex));
    }
    return () => {
      legend.textContent = model.get('label');
      const labels = model.get('labels'), index = model.get('index'), off = model.get('disabled');
      if (built !== labels.join('\n')) {
        built = labels.join('\n');
        (group || select).replaceChildren(...labels.map((text, place) => {
          if (select) return node('option', { textContent: text });
          const choice = node('label', { className: 'cl-choice' });
          const input = node('input', { type: 'radio', name: id }, choice);
          input.addEventListener('change', () => send(model, 'index', place));
          choice.append(text);
          return choice;
        }));
      }
      if (select) { select.selectedIndex = index; select.disabled = off; }
      else group.querySelectorAll('input').forEach((input, place) => { input.checked = place === index; input.disabled = off; });
    };
  },
  switch(model, box) {
    const choice = node('label', { className: 'cl-choice' }, box);
    const input = node('input', { type: 'checkbox' }, choice);
    const text = node('span', {}, choice);
    input.addEventListener('change', () => send(model, 'value', input.checked));
    return () => { text.textContent = model.get('label'); input.checked = model.get('value'); input.disabled = model.get('disabled'); };
  },
  press(model, box) {
    const button = node('button', { type: 'button' }, box);
    let mine = false;                                      // of several views of one button, the one pressed gets the file
    button.addEventListener('click', () => { mine = true; send(model, 'presses', model.get('presses') + 1); });
    const receive = (message, buffers) => {
      if (!mine || !message.name) return;
      mine = false;
      const address = URL.createObjectURL(new Blob([buffers[0]], { type: message.media_type }));
      // A tab that the browser does not open, for the press was long ago, comes as a file.
      if (!message.new_tab || !window.open(address, '_blank')) node('a', { href: address, download: message.name }).click();
      setTimeout(() => URL.revokeObjectURL(address), 60000);
    };
    model.on('msg:custom', receive);
    const pull = () => { button.textContent = model.get('label'); button.disabled = model.get('disabled'); button.classList.toggle('cl-main', model.get('main')); button.classList.toggle('cl-small', model.get('small')); if (model.get('shows')) button.setAttribute('aria-expanded', model.get('shows')); if (model.get('spoken')) button.setAttribute('aria-label', model.get('spoken')); };
    if (model.get('focus')) setTimeout(() => button.isConnected && button.focus(), 50);   // made anew in the place of one that had it
    pull.stop = () => model.off('msg:custom', receive);
    return pull;
  },
  line(model, box, id) {
    const label = node('label', { htmlFor: id }, box);
    const input = node('input', { type: 'text', id, autocomplete: 'off', spellcheck: false }, box);
    const problem = node('span', { className: 'cl-problem', id: `${id}-problem` });
    problem.setAttribute('role', 'alert');
    box.append(problem);
    entered(input, () => { if (input.value !== model.get('value')) send(model, 'value', input.value); });
    let last;
    return () => {
      label.textContent = model.get('label');
      input.placeholder = model.get('placeholder'); input.inputMode = model.get('keypad'); input.disabled = model.get('disabled');
      if (last !== model.get('value')) { last = model.get('value'); input.value = last; }
      if (problem.textContent !== model.get('problem')) problem.textContent = model.get('problem');
      input.setAttribute('aria-invalid', String(Boolean(model.get('problem'))));
      input.setAttribute('aria-describedby', `${id}-help ${problem.id}`);
    };
  },
};

function render({ model, el }) {
  const id = `cl-control-${++controls}-${Math.random().toString(36).slice(2, 7)}`;
  const box = node('div', { className: `cl-control cl-${model.get('sort')}` }, el);
  const pull = BUILD[model.get('sort')](model, box, id);
  const help = node('span', { className: 'cl-help', id: `${id}-help` }, box);
  for (const input of box.querySelectorAll('select, fieldset, button, input[type=checkbox]')) input.setAttribute('aria-describedby', help.id);
  let called = 0;
  const call = () => {
    if (called === model.get('called')) return;
    called = model.get('called');
    setTimeout(() => { const input = box.querySelector('input, select, button'); input.focus({ preventScroll: true }); box.scrollIntoView({ block: 'start' }); }, 80);
  };
  const all = () => { pull(); call(); help.textContent = model.get('help'); box.classList.toggle('cl-off', model.get('disabled')); };
  model.on('change', all);
  all();
  settle(el);
  return () => { model.off('change', all); if (pull.stop) pull.stop(); };
}
export default { render };
