let knobs = 0;
const PAUSE = 400;   // ms after the last key is let go before the hand counts as off the slider

// How many decimals a step needs: 0.25 needs two, 0.5 one, 2 none.
function decimals(step) {
  for (let d = 0; d < 7; d++) if (Math.abs(step * 10 ** d - Math.round(step * 10 ** d)) < 1e-6 * step * 10 ** d) return d;
  return 7;
}

function render({ model, el }) {
  const id = `cl-knob-${++knobs}-${Math.random().toString(36).slice(2, 7)}`;
  const box = node('div', { className: 'cl-control cl-knob' }, el);
  const label = node('label', { htmlFor: id }, box);
  const right = node('span', { className: 'cl-number' }, box);
  const number = node('input', { type: 'number', inputMode: 'decimal' }, right);
  const unit = node('span', { className: 'cl-unit' }, right);
  const range = node('input', { type: 'range', id }, box);
  const help = node('span', { className: 'cl-help', id: `${id}-help` }, box);
  const note = node('span', { className: 'cl-problem' }, box);
  note.setAttribute('role', 'status');
  unit.setAttribute('aria-hidden', 'true');      // it is part of both names already

  let shown = '', form = '', timer = 0, held = false;
  // A step of an eighth needs three decimals, and a half then none of the zeros behind it.
  const text = value => { const count = decimals(model.get('step')), all = value.toFixed(count); return count > 2 ? String(+all) : all; };
  const worded = value => `${value}${model.get('unit') ? ' ' + model.get('unit') : ''}`;

  function pull() {
    label.textContent = model.get('label');
    unit.textContent = model.get('unit');
    help.textContent = model.get('help');
    const now = ['min', 'max', 'step', 'unit'].map(name => model.get(name)).join('|');
    const refitted = now !== form;
    form = now;
    for (const input of [range, number]) {
      input.min = model.get('min'); input.max = model.get('max'); input.step = model.get('step');
      input.disabled = model.get('disabled');
      if (model.get('help')) input.setAttribute('aria-describedby', help.id); else input.removeAttribute('aria-describedby');
    }
    box.classList.toggle('cl-off', model.get('disabled'));
    const value = model.get('value');
    if (!held || refitted) range.value = value;            // a hand that is moving it knows better
    if (document.activeElement !== number || refitted) { shown = text(value); number.value = shown; }
    range.setAttribute('aria-valuetext', worded(text(value)));
    number.setAttribute('aria-label', `${model.get('label')}${model.get('unit') ? ', ' + model.get('unit') : ''}, as a number`);
    box.dataset.value = value;
  }

  function push(value) {
    if (value === model.get('value')) return;
    note.textContent = '';
    model.set('value', value);
    model.save_changes();
  }
  // The first value of a drag carries `dragging` with it, so that a picture holds its axes before it draws that value.
  function take() { clearTimeout(timer); held = true; model.set('dragging', true); }
  function leave() {
    clearTimeout(timer);
    if (!held) return;
    held = false;
    model.set('dragging', false);
    model.save_changes();
    pull();
  }

  range.addEventListener('pointerdown', take);
  for (const name of ['pointerup', 'pointercancel']) range.addEventListener(name, leave);
  range.addEventListener('keydown', event => { if (/^(Arrow|Page|Home|End)/.test(event.key)) take(); });
  range.addEventListener('keyup', () => { clearTimeout(timer); timer = setTimeout(leave, PAUSE); });
  range.addEventListener('blur', leave);
  range.addEventListener('input', () => {
    const value = Math.min(model.get('max'), Math.max(model.get('min'), +range.value));
    shown = text(value); number.value = shown;
    push(value);
  });
  // The little arrows of the field change it without leaving it; typing does not count until it is entered.
  number.addEventListener('input', event => { if (!event.inputType) enter(); });
  entered(number, enter);
  function enter() {
    if (number.value === shown) return;                    // left as it was: the value behind it may be finer than what is shown
    const asked = number.valueAsNumber, low = model.get('min'), high = model.get('max');
    if (Number.isFinite(asked)) {
      push(Math.min(high, Math.max(low, asked)));
      note.textContent = asked < low || asked > high ? `Between ${text(low)} and ${worded(text(high))}.` : '';
    }
    shown = text(model.get('value')); number.value = shown;
    range.value = model.get('value');
  }
  model.on('change', pull);
  pull();
  settle(el);
  return () => { clearTimeout(timer); model.off('change', pull); };
}
export default { render };
