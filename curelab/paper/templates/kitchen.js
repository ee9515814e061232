// The page to carry: ticks, notes and the picture. What is ticked or written stays in this browser, under the batch and the version of the page.
{
const data = JSON.parse(document.getElementById('data').textContent);
const one = name => document.querySelector(`[data-${name}]`), form = one('form'), ticked = [...document.querySelectorAll('[data-tick]')];
const STORED = 1, batchKey = `curelab page ${data.batch} `, pageKey = `${batchKey}${data.version}`;
const tidy = (words, most) => String(words ?? '').replace(/[\u0000-\u001f\u007f-\u009f\u2028-\u202e\u2066-\u2069\ufeff]/g, ' ').replace(/\s+/g, ' ').trim().slice(0, most);

// -- what is kept ------------------------------------------------------------------------------------------------------
// Every tick and note is one entry: { id, tick, at, what, value, piece, note }. `loose`: entries that the phone would not keep.
// `gone`: what the last change took out, until the next one; it can be put back.
let entries = [], own = pageKey, loose = false, gone = [];
const older = new Map(), unread = new Map();
function entriesOf(text) {
  let found;
  try { found = JSON.parse(text); } catch { return null; }
  if (found?.stored !== STORED || !Array.isArray(found.entries)) return null;
  const names = ['id', 'tick', 'at', 'what', 'value', 'piece', 'note'];
  return found.entries.map(each => Object.fromEntries(names.map(name => [name, tidy(each?.[name], 500)])));
}
// What is kept for this batch. Where this page's own place holds what cannot be read, that is left, and the next place is taken.
function read() {
  const kept = new Map();
  try {
    for (let k = 0; k < localStorage.length; k++) if (localStorage.key(k).startsWith(batchKey)) kept.set(localStorage.key(k), localStorage.getItem(localStorage.key(k)));
  } catch { loose = true; return 'This browser keeps nothing for this page. Copy the lines before you close it.'; }
  older.clear(); unread.clear();
  for (let n = 0; ; n++) {
    own = n ? `${pageKey} ${n}` : pageKey;
    const found = kept.has(own) ? entriesOf(kept.get(own)) : [];
    if (found) { entries = found; break; }
  }
  for (const [key, text] of kept) if (key !== own) { const found = entriesOf(text); if (!found) unread.set(key, text); else if (found.length) older.set(key, found); }
  return unread.size ? 'What another version of this page kept for this batch cannot be read. It was left as it is, and stands below the log.' : '';
}
// Takes up what another tab has written meanwhile, changes it, and writes it. What cannot be kept stays on the page.
function change(edit) {
  if (!loose) read();
  const before = entries;
  entries = edit(entries);
  gone = before.filter(each => !entries.some(other => other.id === each.id));
  try { localStorage.setItem(own, JSON.stringify({ stored: STORED, entries })); loose = false; tell(trouble); }
  catch { loose = true; tell('This phone has no room for it, or keeps nothing. The last entry is on this page only: copy the lines before you close it.'); }
  show();
}
function tell(words) { const box = one('trouble'); if (box.textContent !== words) box.textContent = words; }

// -- time on the kitchen's clock ---------------------------------------------------------------------------------------
function wall(date) {
  const form = zone => new Intl.DateTimeFormat('en-GB', { timeZone: zone, hourCycle: 'h23', year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit' });
  let parts;
  try { parts = form(data.zone || undefined).formatToParts(date); } catch { parts = form(undefined).formatToParts(date); }
  const at = Object.fromEntries(parts.map(part => [part.type, part.value]));
  return `${at.year}-${at.month}-${at.day} ${at.hour}:${at.minute}`;
}
const utc = at => new Date(`${at.replace(' ', 'T')}:00Z`);
function said(at) {
  const when = utc(at), day = data.days[(when.getUTCDay() + 6) % 7], month = data.months[when.getUTCMonth()], date = when.getUTCDate();
  const [hour, minute] = at.slice(11).split(':');
  return data.us ? `${day} ${month} ${date} ${(+hour + 11) % 12 + 1}:${minute} ${hour < 12 ? 'am' : 'pm'}` : `${day} ${date} ${month} ${hour}:${minute}`;
}

// -- lines for `curelab log FILE --paste` ------------------------------------------------------------------------------
function checked(words) {
  let value = 0x811c9dc5;
  for (const byte of new TextEncoder().encode(words)) value = Math.imul(value ^ byte, 0x01000193) >>> 0;
  return value.toString(16).padStart(8, '0');
}
function lineOf({ at, what, value, piece, note }) {
  const fields = [data.batch, at, what, value, piece, note].map(field => tidy(field, 500).replace(/[\\|]/g, '\\$&'));
  const body = `${data.sort} ${fields.join(' | ')}`.replace(/\s+/g, ' ').trim();
  return `${body} | ${checked(body)}`;
}
const inOrder = list => [...list].sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : 0));

// -- showing -----------------------------------------------------------------------------------------------------------
function show() {
  const done = new Map(entries.filter(each => each.tick).map(each => [each.tick, each]));
  for (const box of ticked) {
    const entry = done.get(box.dataset.tick), words = document.querySelector(`[data-done="${box.dataset.tick}"]`);
    box.checked = Boolean(entry);
    words.textContent = entry ? `Done ${said(entry.at)}` : '';
  }
  const next = ticked.find(box => box.dataset.when && !box.checked), place = one('next');
  if (!next) place.textContent = 'All dates are ticked.';
  else {
    const words = next.dataset.what === 'turned' ? 'Turn the pieces over' : next.dataset.note.replace(/^done: /, '');
    const link = node('a', { href: '#dates', textContent: `${next.dataset.when}: ${words}` });
    link.addEventListener('click', event => { event.preventDefault(); next.focus(); next.closest('label').scrollIntoView({ block: 'center' }); });
    place.replaceChildren(link);
  }
  list();
  const out = one('gone');
  out.replaceChildren();
  if (gone.length) {
    const back = gone;
    node('span', { textContent: `Taken out: ${back.map(sentence).join('; ')} ` }, out);
    node('button', { type: 'button', textContent: 'Put it back' }, out).addEventListener('click', () => {
      change(all => [...all.filter(each => !back.some(other => other.tick && other.tick === each.tick)), ...back]);
      form.elements.what.focus();
    });
  }
  const every = inOrder([...[...older.values()].flat(), ...entries]);
  one('lines').value = every.length ? [...every.map(lineOf), `${data.sort} end ${every.length}`].join('\n') : '';
  one('copied').textContent = '';
  const count = entries.length;
  one('kept').textContent = !count ? 'Nothing is ticked or written down yet.' : loose ? 'Not kept on this phone.' : `Kept on this phone: ${count} tick${count === 1 ? '' : 's'} and notes.`.replace('1 tick and notes', '1 tick or note');
}
function sentence(entry) { return `${said(entry.at)}: ${[entry.what, entry.value.replace('deg', '°'), entry.piece, entry.note].filter(Boolean).join(', ')}`; }
function list() {
  one('entries').replaceChildren(...inOrder(entries).map(entry => {
    const item = node('li', { textContent: sentence(entry) });
    const out = node('button', { type: 'button', textContent: 'Delete entry' }, item);
    out.setAttribute('aria-label', `Delete entry: ${sentence(entry)}`);
    out.addEventListener('click', () => { change(all => all.filter(each => each.id !== entry.id)); form.elements.what.focus(); });
    return item;
  }));
  const box = one('older');
  box.replaceChildren();
  if (older.size) {
    node('p', { textContent: 'From another page of this batch, made for another plan. Its ticks are not shown above; its lines stand with the others.' }, box);
    const all = node('ul', {}, box);
    for (const entry of inOrder([...older.values()].flat())) node('li', { textContent: sentence(entry) }, all);
  }
  for (const text of unread.values()) {
    node('p', { textContent: 'Cannot be read by this page:' }, box);
    node('code', { textContent: text.slice(0, 4000) }, box);
  }
}

// -- ticking and typing ------------------------------------------------------------------------------------------------
const fresh = () => `${Date.now().toString(36)}${Math.random().toString(36).slice(2, 8)}`;
for (const box of ticked) box.addEventListener('change', () => {
  const { tick, what, note } = box.dataset, on = box.checked;
  change(all => [...all.filter(each => each.tick !== tick), ...(on ? [{ id: fresh(), tick, at: wall(new Date()), what, value: '', piece: '', note: tidy(note, 400) }] : [])]);
});
const options = (select, all) => select.replaceChildren(...all.map(([value, textContent]) => node('option', { value, textContent })));
const kind = () => data.readings.find(each => each.what === form.elements.what.value);
options(form.elements.what, data.readings.map(({ what }) => [what, what]));
options(form.elements.piece, [['', 'the whole batch'], ...data.pieces.map(name => [name, name])]);
one('pieces').hidden = data.pieces.length < 2;
function fitted() {
  const { value, units, words } = kind();
  one('value').hidden = !value || words.length > 0;
  one('units').hidden = units.length < 2;
  one('words').hidden = !words.length;
  one('value').querySelector('label').textContent = units.length === 1 && units[0] ? `Reading, ${units[0].replace('deg', '°')}` : 'Reading';
  options(form.elements.unit, units.map(unit => [unit, unit.replace('deg', '°')]));
  options(form.elements.word, words.map(word => [word, word]));
  wrong('');
}
form.elements.what.addEventListener('change', fitted);
function wrong(words, field = null) {
  one('wrong').textContent = words;
  for (const each of form.elements) each.removeAttribute('aria-invalid');
  if (field) { field.setAttribute('aria-invalid', 'true'); field.focus(); }
}
form.addEventListener('submit', event => {
  event.preventDefault();
  const { value: asked, units, words, most, what } = kind(), typed = form.elements;
  const at = typed.at.value ? typed.at.value.replace('T', ' ').slice(0, 16) : wall(new Date()), note = tidy(typed.note.value, 400);
  let value = words.length ? typed.word.value : '';
  if (asked && !words.length) {
    const number = typed.value.value.trim().replace(',', '.').replace('\u2212', '-');
    if (!/^-?\d+(\.\d+)?$/.test(number) && units.length) return wrong(`"${number}" is not a number. Type it like 4.1, and the unit beside it.`, typed.value);
    if (!number) return wrong('The reading is empty. Type what was measured.', typed.value);
    if (most !== null && +number > most) return wrong(`${number} is more than can be (${most}). Check the decimal point.`, typed.value);
    value = `${number} ${units.length ? typed.unit.value : ''}`.trim();
  }
  if (what === 'note' && !note) return wrong('The note is empty. Type what happened.', typed.note);
  if (what !== 'note' && data.start && at < data.start) return wrong(`That is before the start of the batch, ${said(data.start)}. Write it down as a note.`, typed.at);
  wrong('');
  change(all => [...all, { id: fresh(), tick: '', at, what, value, piece: data.pieces.length > 1 ? typed.piece.value : '', note }]);
  typed.value.value = typed.note.value = typed.at.value = '';
});
one('copy').addEventListener('click', async () => {
  const box = one('lines');
  try { await navigator.clipboard.writeText(box.value); one('copied').textContent = 'Copied.'; }
  catch { box.focus(); box.select(); one('copied').textContent = document.execCommand?.('copy') ? 'Copied.' : 'Marked: copy it with the menu of the phone.'; }
});
addEventListener('storage', event => { if (!loose && event.key?.startsWith(batchKey)) { read(); show(); } });
addEventListener('beforeprint', () => { for (const each of document.querySelectorAll('details')) each.open = true; });

// -- the picture -------------------------------------------------------------------------------------------------------
// Opens on today's day while the batch runs. The script of the benches draws it, from a model that never changes.
function today(meta, days) {
  const passed = data.start ? (utc(wall(new Date())) - utc(data.start)) / 86400000 : -1;
  return passed >= 0 && passed <= days ? passed : meta.opens;
}
const picture = one('picture');
if (picture && data.section) {
  const numbers = Uint8Array.from(atob(data.section.numbers), letter => letter.charCodeAt(0)), meta = data.section.meta, again = new Set();
  const parts = { meta: { ...meta, opens: today(meta, meta.opens) }, frame: new DataView(numbers.buffer), height: data.section.height, caption: data.section.caption, revision: 1, problem: '' };
  render({ model: { get: name => parts[name], on: (names, call) => again.add(call), off: (names, call) => again.delete(call) }, el: picture });
  // The letters of the picture grow with those of the page (17 px is what the style sheet asks for), as far as a narrow page leaves room for it.
  const grown = () => Math.max(1, Math.min(parseFloat(getComputedStyle(document.documentElement).fontSize) / 17, picture.parentElement.clientWidth / 240));
  new ResizeObserver(() => { picture.style.zoom = grown(); }).observe(document.body);
  const redraw = () => { for (const call of again) call(); };
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', redraw);
  addEventListener('beforeprint', redraw);
  addEventListener('afterprint', redraw);
}
let trouble = read();
fitted();
show();
tell(trouble);
}
