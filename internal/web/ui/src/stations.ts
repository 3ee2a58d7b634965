// The four stations and the decisions: what they say, and what can be done there.
import { api, ApiError, type Check, type Shot, type Task, type Vec, type Way } from './api'
import type { Bench } from './bench'
import { direction, fix, h, num, rebuild, sentence } from './dom'
import { placed, toLine } from './place'

const AXES: [string, Vec][] = [['+x', [1, 0, 0]], ['−x', [-1, 0, 0]], ['+y', [0, 1, 0]], ['−y', [0, -1, 0]], ['+z', [0, 0, 1]], ['−z', [0, 0, -1]]]

const sizes = (v: Vec) => v.map((s) => fix(s, 1)).join(' × ') + ' mm'
const mL = (mm3: number, d = 2) => `${num(mm3 / 1000, d)} mL`

/** Sentences of the server may run over several lines. */
const lines = (words: string) => words.split('\n').map((w) => h('span', { class: 'block' }, sentence(w.trim())))

export function partStation(box: HTMLElement, b: Bench): void {
  const s = b.state!
  if (s.partError) return rebuild(box, h('p', { class: 'error', role: 'alert' }, s.partError), h('p', { class: 'soft' }, 'Mend the file, or say in job.toml below which object and unit is meant.'))
  if (s.job.bad) return rebuild(box, h('p', { class: 'soft' }, 'Mend job.toml below first.'))
  if (!s.part) return rebuild(box, h('p', { class: 'soft' }, 'Reading the part …'))
  const m = s.part.meta as { facets: number; shown_facets: number; view_cell_mm: number; size_mm: Vec }
  const look = s.intake
  const show = s.show?.meta as { facets: number; area_mm2: number } | undefined
  const rules = s.job.settings?.show ?? {}
  const remove = (kind: string, i: number, what: string) => h('button', { class: 'quiet small', 'data-key': `${kind}-${i}`, 'aria-label': `Take out the rule ${what}`, click: () => void b.changed(() => api.removeRule(b.id, kind, i)) }, 'take out')
  const list = [
    ...(rules.colours ?? []).map((c, i) => {
      const dot = h('span', { class: 'swatch' })
      dot.style.backgroundColor = c
      return h('li', {}, dot, h('span', {}, `facets coloured ${c}`), remove('colour', i, c))
    }),
    ...(rules.towards ?? []).map((t, i) => h('li', {}, h('span', {}, `facets within ${num(t.within_deg)}° of ${direction(t.direction)}`), remove('towards', i, direction(t.direction)))),
    ...(rules.pick ?? []).map((_, i) => h('li', {}, h('span', {}, `face picked, no. ${i + 1}`), remove('pick', i, `picked face ${i + 1}`))),
    ...(rules.box ?? []).map((_, i) => h('li', {}, h('span', {}, `faces in a box, no. ${i + 1}`), remove('box', i, `box ${i + 1}`))),
  ]
  const axis = h('select', { 'data-key': 'towards', 'aria-label': 'Faces that look this way' }, ...AXES.map(([n]) => h('option', {}, n)))
  rebuild(box,
    h('p', { class: 'lead' }, sizes(m.size_mm) + ', ', look && !look.fatal ? h('span', { class: 'nobreak' }, mL(look.volume_mm3) + ' of material, ') : null, `${num(m.facets, 0)} facets`, look ? `, ${num(look.area_mm2, 0)} mm² of surface.` : '.'),
    look ? null : h('p', { class: 'soft', role: 'status' }, 'Looking the part over …'),
    m.view_cell_mm > 0 ? h('p', { class: 'soft' }, `The view shows ${num(m.shown_facets, 0)} of them, details under ${num(m.view_cell_mm, 2)} mm merged; every figure uses them all.`) : null,
    look?.fatal ? h('p', { class: 'error', role: 'alert' }, ...lines(look.fatal)) : null,
    ...(look?.notes ?? []).map((n) => h('p', { class: 'note' }, n)),
    h('h3', {}, 'Show faces'),
    h('p', {}, show && show.facets > 0 ? `${num(show.area_mm2, 0)} mm² are marked: no flash, no sprue and no vent there.` : 'None marked: flash, sprue and vents may go anywhere.'),
    list.length ? h('ul', { class: 'plain rules' }, ...list) : null,
    h('div', { class: 'row' },
      h('button', { 'data-key': 'pick', class: s.picking ? 'primary' : '', 'aria-pressed': String(s.picking), click: () => b.setPicking(!s.picking) }, s.picking ? 'Done picking' : 'Pick faces in the view'),
      h('span', { class: 'inline' }, 'or those that look', axis, h('button', { 'data-key': 'add-towards', class: 'quiet', click: () => void b.changed(() => api.addTowards(b.id, AXES[axis.selectedIndex]![1], 10)) }, 'mark'))),
    s.notice ? h('p', { class: 'note', role: 'status' }, s.notice) : null)
}

function working(b: Bench, t: Task): HTMLElement {
  const bar = h('progress', { 'data-task': t.id, max: 1, 'aria-label': t.kind === 'build' ? 'Building' : 'Judging' })
  bar.value = t.share
  return h('div', { class: 'working' }, bar, h('span', { 'data-task-words': '' }, t.stage), h('button', { class: 'quiet small', 'data-key': 'cancel', click: () => void b.cancel() }, 'Stop'))
}

export function judgeStation(box: HTMLElement, b: Bench): void {
  const s = b.state!
  const j = s.judgement
  const busy = s.task?.kind === 'judge' ? working(b, s.task) : null
  if (!j) return rebuild(box, busy ?? h('p', { class: 'soft' }, 'Not judged yet.'), s.taskError && !s.report ? h('p', { class: 'error', role: 'alert' }, ...lines(s.taskError)) : null,
    !busy && s.intake && !s.intake.fatal ? h('button', { 'data-key': 'judge', click: () => void b.start('judge') }, 'Judge the part') : null)
  const asked = h('button', { class: 'quiet small', 'data-key': 'search-again', click: () => void b.changed(() => api.set(b.id, { 'opening.direction': null })) }, 'search all directions')
  const verdict = j.opens
    ? h('p', { class: 'verdict good' }, h('strong', {}, 'It opens'), ` along ${direction(j.direction)}, with at least ${fix(j.min_draft_deg, 2)}° of draft.`,
      j.min_draft_deg < j.draft_asked_deg ? ` You asked for ${num(j.draft_asked_deg)}°: the walls below that rub.` : '')
    : h('p', { class: 'verdict bad' }, h('strong', {}, 'It locks'), ` as two rigid halves along ${direction(j.direction)}`, j.asked ? '.' : ', the best direction found.', ` ${num(j.undercut_area_mm2, 1)} mm² of surface is caught.`)
  rebuild(box, busy, !j.fresh && !busy ? h('p', { class: 'note' }, 'The decisions have changed since. ', h('button', { class: 'quiet small', 'data-key': 'judge', click: () => void b.start('judge') }, 'judge again')) : null,
    verdict,
    j.asked ? h('p', { class: 'soft' }, 'job.toml asks for this direction; ', asked) : null,
    j.undercuts.length ? h('ol', { class: 'plain places' }, ...j.undercuts.slice(0, 12).map((u, i) => h('li', {},
      h('span', {}, u.sealed ? `A sealed hollow of ${num(u.volume_mm3)} mm³: no mould piece gets in.` : `${fix(u.depth_mm ?? 0, 2)} ± ${fix(u.depth_error_mm, 2)} mm deep over ${num(u.area_mm2, 1)} mm²; it holds the ${u.holds}.`),
      h('button', { class: 'quiet small', 'data-key': 'place-' + i, click: () => b.view.showUndercut(i) }, 'show where')))) : null,
    j.opens ? h('p', {}, `The parting line runs ${num(j.parting_line_mm, 1)} mm, ${j.parting_line_on_show_mm > 0.05 ? num(j.parting_line_on_show_mm, 1) + ' mm of it' : 'none of it'} across show faces.`) : null,
    j.candidates.length > 1 ? h('details', { 'data-key': 'candidates' }, h('summary', {}, `The ${j.candidates.length} best directions, and why`),
      h('ol', { class: 'plain candidates' }, ...j.candidates.map((c, i) => h('li', {},
        h('div', { class: 'row tight' }, h('strong', {}, direction(c.direction)), h('span', { class: 'soft' }, `${c.origin}; ${fix(c.score, 1)} points, fewer are better`),
          same(c.direction, j.direction) ? h('span', { class: 'chip none' }, 'shown') : h('button', { class: 'quiet small', 'data-key': 'use-' + i, click: () => void b.changed(() => api.set(b.id, { 'opening.direction': c.direction })) }, 'use this')),
        h('ul', { class: 'plain soft terms' }, ...c.terms.filter((t) => t.points > 0.005).map((t) => h('li', {}, h('span', { class: 'points' }, fix(t.points, 1)), t.words || t.name))))))) : null)
}

const same = (a: Vec, c: Vec) => a.every((v, i) => Math.abs(v - c[i]!) < 1e-9)

interface Field { key: string; words: string; unit: string; kind: 'number' | 'text' | 'family' | string[]; fallback: string }

/** What makers change most; the rest stands in job.toml. */
const FIELDS: Field[] = [
  { key: 'mould.family', words: 'Kind of mould', unit: '', kind: 'family', fallback: 'two-halves' },
  { key: 'mould.wall_mm', words: 'Wall beside the cavity', unit: 'mm', kind: 'number', fallback: '12' },
  { key: 'mould.floor_mm', words: 'Floor over and under it', unit: 'mm', kind: 'number', fallback: '8' },
  { key: 'mould.bolt', words: 'Bolts', unit: '', kind: ['M3', 'M4', 'M5', 'M6', 'M8', 'none'], fallback: 'M5' },
  { key: 'mould.keys', words: 'Keys', unit: '', kind: 'number', fallback: '4' },
  { key: 'mould.sprue_mm', words: 'Sprue at the cavity', unit: 'mm', kind: 'number', fallback: '5' },
  { key: 'mould.vents', words: 'Vents', unit: '', kind: 'number', fallback: '1' },
  { key: 'mould.gutter_ml', words: 'Overflow gutter', unit: 'mL', kind: 'number', fallback: '0' },
  { key: 'mould.label', words: 'Label', unit: '', kind: 'text', fallback: 'the name' },
]

export function mouldStation(box: HTMLElement, b: Bench): void {
  const s = b.state!
  const building = s.task?.kind === 'build' ? working(b, s.task) : null
  const ready = !!s.intake && !s.intake.fatal
  const r = s.report
  const first = !s.mould
  const locks = s.judgement && !s.judgement.opens && (s.job.settings?.mould?.['family'] ?? 'two-halves') === 'two-halves'
  rebuild(box,
    building ?? h('div', { class: 'row' }, h('button', { class: first || s.job.stale ? 'primary' : '', 'data-key': 'build', disabled: !ready || s.task !== null, click: () => void b.start('build') }, first ? 'Build the mould' : 'Build it again'),
      locks ? h('span', { class: 'soft' }, 'Two rigid halves will be refused as it stands.') : null),
    locks && !building ? h('p', {}, h('button', { 'data-key': 'use-insert', click: () => void b.changed(() => api.set(b.id, { 'mould.family': 'insert' })) }, 'Mould it in a silicone insert'), h('span', { class: 'soft block' }, 'The side that locks is made of silicone, which gives way.')) : null,
    s.taskError ? h('p', { class: 'error', role: 'alert' }, ...lines(s.taskError)) : null,
    s.job.stale && r ? h('p', { class: 'note' }, 'What follows is of the build before your last change.') : null,
    ready ? ways(b) : null,
    ready ? settings(b) : null,
    r?.refused ? refusal(b) : null,
    r?.mould ? result(b) : null)
}

/** The ways to mould the part, side by side. */
function ways(b: Bench): HTMLElement {
  const s = b.state!
  const c = s.comparison?.comparison
  const running = s.task?.kind === 'compare' ? working(b, s.task) : null
  const ask = running ?? h('button', { 'data-key': 'compare', disabled: s.task !== null, click: () => void b.start('compare') }, c ? 'Compare the ways again' : 'Compare the ways to mould it')
  if (!c) return h('div', { class: 'result' }, ask)
  const cash = c.prices.currency ?? ''
  const family = s.job.settings?.mould?.['family'] ?? 'two-halves'
  const verdict = (w: Way) => (w.basis === 'proven' ? 'proven' : !w.opens ? 'does not open' : w.basis === 'tried' ? 'not built' : 'opens, estimated')
  return h('details', { 'data-key': 'ways', open: true }, h('summary', {}, 'The ways to mould it'), h('div', { class: 'result' },
    s.comparison!.fresh ? null : h('p', { class: 'note' }, 'Compared before your last change.'),
    h('p', {}, c.why),
    c.change ? h('p', {}, h('strong', {}, 'A small change of the part: '), c.change.words) : null,
    h('ol', { class: 'plain ways' }, ...c.ways.map((w) => h('li', {},
      h('div', { class: 'row tight' }, h('strong', {}, `${w.rank}. ${w.name}`), h('span', { class: 'chip ' + (w.basis === 'proven' ? 'good' : w.opens ? 'none' : 'bad') }, verdict(w)),
        !w.family ? null : w.family === family ? h('span', { class: 'chip none' }, 'chosen') : h('button', { class: 'small', 'data-key': 'way-' + w.key, click: () => void b.changed(() => api.set(b.id, { 'mould.family': w.family })) }, 'Mould it so')),
      h('dl', {}, ...([['Flash', `${num(w.flash_mm, 0)} mm, ${num(w.show_flash_mm, 0)} mm on show faces`], ['Print', `${num(w.print_ml, 0)} mL ± ${num(w.volume_error_pct, 0)} %`],
        ...(w.silicone_ml > 0 ? [['Silicone', `${num(w.silicone_ml, 0)} mL ± ${num(w.volume_error_pct, 0)} %, in ${w.one_time_pours === 1 ? 'one pour' : `${w.one_time_pours} pours`}`]] : []),
        ['A batch of ' + c.batch, `${num(w.cost.total, 0)} ${cash} ± ${num(w.cost.error_pct, 0)} %, ${num(w.cost.per_part, 2)} a part; ${w.shots} fillings of ${w.moulds === 1 ? 'one mould' : `${w.moulds} moulds`}, ${num(w.cycle_h, 1)} h each`]] as [string, string][]).flatMap(([k, v]) => [h('dt', {}, k), h('dd', {}, v)])),
      h('details', { 'data-key': 'why-' + w.key }, h('summary', {}, w.verdict), h('ul', {}, ...w.reasons.map((q) => h('li', {}, q))))))),
    c.prices.typical ? h('p', { class: 'soft' }, 'Prices and times that [compare] in job.toml does not give are typical values, not quotes.') : null, ask))
}

function settings(b: Bench): HTMLElement {
  const have = b.state!.job.settings ?? {}
  return h('details', { 'data-key': 'settings' }, h('summary', {}, 'Sizes of the mould'), h('div', { class: 'fields' }, ...FIELDS.map((f) => {
    const [table, key] = f.key.split('.') as [string, string]
    const value = (have[table] as Record<string, unknown> | undefined)?.[key]
    const shown = value === undefined || value === '' ? '' : String(value)
    const save = (v: string) => void b.changed(() => api.set(b.id, { [f.key]: v === '' ? null : f.kind === 'number' ? Number(v) : v }))
    const choices = f.kind === 'family' ? b.state!.families.map((q) => [q.name, q.words] as const) : Array.isArray(f.kind) ? f.kind.map((o) => [o, o] as const) : null
    const input = choices
      ? h('select', { 'data-key': f.key, change: (e) => save((e.target as HTMLSelectElement).value) }, ...choices.map(([o, words]) => h('option', { value: o, selected: o === (shown || f.fallback) }, words)))
      : h('input', { type: f.kind as string, step: 'any', min: 0, value: shown, placeholder: f.fallback, 'data-key': f.key, change: (e) => save((e.target as HTMLInputElement).value) })
    return h('label', { class: 'field' }, h('span', {}, f.words), h('span', { class: 'with-unit' }, input, f.unit ? h('span', { class: 'soft' }, f.unit) : null))
  })))
}

function refusal(b: Bench): HTMLElement {
  const r = b.state!.report!
  return h('div', { class: 'verdict bad' }, h('p', {}, h('strong', {}, 'Refused.'), ' No mould was built, because it would not work:'),
    h('ul', { class: 'plain places' }, ...(r.reasons ?? []).map((q, i) => h('li', {},
      h('span', {}, h('strong', {}, sentence(q.what) + ': '), q.words),
      q.remedy ? h('span', { class: 'remedy' }, 'What helps: ' + q.remedy + '.') : null,
      q.at_mm ? h('button', { class: 'quiet small', 'data-key': 'reason-' + i, click: () => b.view.showPlace(q.at_mm!) }, 'show where') : null))),
    ...(r.directions ?? []).filter((d) => d.flat_split).slice(0, 1).map((d) => h('details', { 'data-key': 'trial' }, h('summary', {}, 'What a flat split would do'), h('p', {}, ...lines(d.flat_split!)))))
}

function result(b: Bench): HTMLElement {
  const r = b.state!.report!
  const m = r.mould!
  const files = r.files ?? []
  const stem = (name: string) => 'pieces/' + name.replace(/ /g, '-')
  const get = (f: string, words: string, what: string) => files.includes(f) ? h('a', { class: 'get', href: api.file(b.id, f, true), download: true, 'aria-label': `${what} as ${words}` }, words) : null
  const bad = m.checks.filter((c) => !c.ok)
  return h('div', { class: 'result' },
    h('div', { class: 'verdict good' }, h('p', {}, h('strong', {}, 'Proven to open. '), ...(m.opening ? lines(m.opening) : [])), m.stages?.length ? h('p', {}, 'Where a soft body has to give way, it stretches less than its material allows; the checks give the strain.') : null, m.stages?.length ? h('ol', { class: 'stages' }, ...m.stages.map((w) => h('li', {}, sentence(w)))) : null),
    h('p', {}, `${sentence(m.family)}, block ${sizes(m.block_mm)}. Parting line ${num(m.parting_line_mm, 1)} mm in ${m.parting_loops} ${m.parting_loops === 1 ? 'loop' : 'loops'}, ${m.parting_line_on_show_mm > 0.05 ? num(m.parting_line_on_show_mm, 1) + ' mm' : 'none'} on show faces.`),
    h('h3', {}, 'Pieces'),
    h('ul', { class: 'plain pieces' }, ...m.pieces.map((p) => h('li', {},
      h('img', { src: api.file(b.id, `pictures/${p.name.replace(/ /g, '-')}.png`), alt: `The ${p.name}`, loading: 'lazy' }),
      h('div', {}, h('strong', {}, p.name), h('span', { class: 'soft block' }, `${sizes(p.size_mm)}; ${mL(p.volume_mm3, 1)} ${p.poured ? 'of silicone, poured' : 'of print'}`),
        h('span', { class: 'gets' }, get(stem(p.name) + '.3mf', '3MF', p.name), get(stem(p.name) + '.stl', 'STL', p.name)))))),
    h('p', { class: 'gets' }, get('mould.3mf', 'All pieces closed, 3MF', 'The closed mould'), ...(r.pours ?? []).map((q) => get(q.file, `Set up to pour the ${q.piece}, 3MF`, `The set-up for pouring the ${q.piece}`)), get('drawings.pdf', 'Drawings, PDF', 'The drawings'), get('report.txt', 'Report, text', 'The report')),
    h('h3', {}, 'Drawings'),
    h('ul', { class: 'plain drawings' }, ...files.filter((f) => f.startsWith('drawings/')).map((f) => {
      const words = f.replace('drawings/', '').replace('.svg', '').replace(/-([xy])$/, ' along $1').replace(/-/g, ' ')
      return h('li', {}, h('a', { href: api.file(b.id, f), target: '_blank', rel: 'noopener' }, h('img', { src: api.file(b.id, f), alt: `Drawing: ${words}`, loading: 'lazy' }), h('span', {}, words)))
    })),
    h('h3', {}, 'Checks'),
    h('p', {}, bad.length === 0 ? `All ${m.checks.length} checks passed.` : `${bad.length} of ${m.checks.length} checks failed.`),
    bad.length ? h('ul', { class: 'plain check-list' }, ...bad.map(check)) : null,
    h('details', { 'data-key': 'checks' }, h('summary', {}, 'Each check, with its figure and limit'), h('ul', { class: 'plain check-list' }, ...m.checks.map(check))),
    h('details', { 'data-key': 'features' }, h('summary', {}, 'Bolts, keys, sprue and vents'), h('ul', { class: 'plain check-list' }, ...m.features.map((f) => h('li', {}, h('strong', {}, `${f.name} ${f.kind}`), h('span', { class: 'soft' }, ` at ${f.at_mm.map((v) => fix(v, 1)).join(', ')} mm in the mould`), h('span', { class: 'block' }, f.words))))))
}

function check(c: Check): HTMLElement {
  return h('li', { class: c.ok ? 'ok' : 'failed' }, h('strong', {}, (c.ok ? 'passed: ' : 'failed: ') + c.name), h('span', { class: 'block' }, ...lines(c.words)))
}

export function pourStation(box: HTMLElement, b: Bench): void {
  const s = b.state!
  const r = s.report
  if (!r?.shot) return rebuild(box, h('p', { class: 'soft' }, r?.refused ? 'Nothing to pour: there is no mould.' : 'The amounts come with the mould.'))
  rebuild(box,
    s.job.stale ? h('p', { class: 'note' }, 'Of the build before your last change.') : null,
    ...(r.pours ?? []).flatMap((q) => [h('h3', {}, `Once: the ${q.piece}`), ...amounts(q.shot, q.piece.replace(/ /g, '-'), `The ${q.piece}`)]), r.pours?.length ? h('h3', {}, 'For each casting') : null,
    ...amounts(r.shot, 'shot', 'One filling'),
    h('div', { class: 'gets' }, h('a', { class: 'get', 'data-key': 'to-bench', href: `/bench/${encodeURIComponent(b.id)}`, target: '_blank', rel: 'noopener' }, 'Work through the steps'),
      ...['A4', 'Letter'].map((p) => h('a', { class: 'get', 'data-key': 'sheet-' + p, href: `/api/jobs/${encodeURIComponent(b.id)}/sheet.pdf?paper=${p}`, target: '_blank', rel: 'noopener' }, `Shop sheet, ${p}`))),
    ...filling(b),
    lid(b),
    (r.warnings ?? []).length ? h('details', { 'data-key': 'warnings' }, h('summary', {}, 'Also mind'), h('ul', {}, ...r.warnings!.map((w) => h('li', {}, sentence(w))))) : null)
}

function amounts(shot: Shot, key: string, what: string): (HTMLElement | null)[] {
  const row = (name: string, g: number, words: string) => h('li', {}, h('span', { class: 'grams' }, num(g, 2), h('span', { class: 'unit' }, ' g')), h('span', {}, h('strong', {}, name), h('span', { class: 'soft block' }, words)))
  const life = shot.pot_life
  return [
    h('p', {}, `${what} of ${shot.material_name}. Weigh out, on a scale that reads ${num(shot.scale_step_g, 3)} g:`),
    h('ul', { class: 'plain weigh' }, ...shot.components.map((c) => row(c.name, c.g, `about ${num(c.ml, 1)} mL`)), ...(shot.pigments ?? []).map((p) => row(p.name, p.g, `${num(p.pct_weighed, 2)} % of ${p.of}`))),
    h('p', {}, `${num(shot.mix_ml, 1)} mL of mix, ± ${num(shot.mixed_density.error_pct, 1)} % from the density of ${fix(shot.mixed_density.g_per_ml, 3)} g/mL. Rounding shifts the ratio by ${num(shot.ratio_error_pct, 2)} %; ${num(shot.ratio_tolerance_pct, 1)} % is allowed.`),
    life ? h('p', { class: 'pot' }, h('strong', {}, `${num(life.s / 60, 1)} min`), ` of pot life at ${num(life.at_c, 0)} °C: mix, pour and close within it.`) : null,
    ...(shot.warnings ?? []).map((w) => h('p', { class: 'note' }, w)),
    h('details', { 'data-key': 'uses-' + key }, h('summary', {}, 'Where it goes'), h('table', { class: 'uses' }, h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, 'place'), h('th', { scope: 'col' }, 'mL'), h('th', { scope: 'col' }, 'g'))),
      h('tbody', {}, ...shot.uses.map((u) => h('tr', {}, h('th', { scope: 'row' }, u.name), h('td', {}, fix(u.ml, 2)), h('td', {}, fix(u.g, 2))))))),
    (shot.cautions ?? []).length ? h('div', { class: 'caution' }, h('h4', {}, 'Take care'), ...shot.cautions!.map((c) => h('p', {}, c))) : null,
  ]
}

/** How the mould fills: in words, and in pictures at quarters of the volume. */
function filling(b: Bench): HTMLElement[] {
  const r = b.state!.report!
  if (!r.fill) return []
  const shown = (r.files ?? []).filter((f) => /^pictures\/fill-\d+\.png$/.test(f))
  const words = [...((r.fill.tilted ?? r.fill.flat)?.words ?? []), ...(r.fill.words ?? [])]
  return [
    h('h3', {}, 'How it fills'),
    h('ul', { class: 'fill-words' }, ...words.map((w) => h('li', {}, sentence(w)))),
    h('ul', { class: 'plain fill-pictures' }, ...shown.map((f, i) => h('li', {}, h('a', { href: api.file(b.id, f), target: '_blank', rel: 'noopener' },
      h('img', { src: api.file(b.id, f), alt: `The cavity filled, picture ${i + 1} of ${shown.length}`, loading: 'lazy' }))))),
  ]
}

/** How to close the mould over a lower half that is poured first. */
function lid(b: Bench): HTMLElement | null {
  const s = b.state!
  if (!s.mould || !s.report?.mould?.pieces.some((p) => p.name === 'upper half')) return null
  const words = h('p', { class: 'error', role: 'alert' })
  const ask = h('button', { 'data-key': 'lid', click: () => {
    ask.disabled = true
    words.textContent = ''
    ask.textContent = 'Working it out; up to a minute …'
    void api.lid(b.id).then((l) => { s.lid = l; b.update() }, (e: Error) => { words.textContent = e.message; ask.disabled = false; ask.textContent = 'Work it out' })
  } }, s.lid ? 'Work it out again' : 'Work it out')
  const l = s.lid
  return h('details', { 'data-key': 'closing' }, h('summary', {}, 'Poured open, the lid put on after'), h('div', { class: 'result' },
    h('p', {}, 'The lower half is poured first, and the upper half lowered onto it about one edge. From which edge, and from which angle, decides how much air stays.'), ask, words,
    ...(l ? [h('p', {}, `Poured first: ${num(l.liquid_ml, 2)} mL ± ${num(l.pour_tolerance_pct, 1)} %; the open half holds ${num(l.holds_ml, 2)} mL.`),
      h('ul', {}, ...l.advice.map((w) => h('li', {}, sentence(w)))),
      h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Air under the lid' }, h('table', { class: 'figures' }, h('thead', {}, h('tr', {}, ...['lowered about', 'from', 'air, mm³', 'runs over, mL', ''].map((w) => h('th', { scope: 'col' }, w)))),
        h('tbody', {}, ...l.comparison.closings.map((c, i) => h('tr', {}, h('th', { scope: 'row' }, c.from_deg === 0 ? 'put on flat' : c.hinge.name), h('td', {}, `${num(c.from_deg, 0)}°`), h('td', {}, `${num(c.trapped_mm3, 0)} ± ${num(c.error_mm3, 0)}`), h('td', {}, num(c.over_mm3 / 1000, 2)),
          h('td', {}, c.from_deg > 0 ? h('button', { class: 'small', 'data-key': 'close-' + i, click: () => b.view.closeLid(c) }, i === l.comparison.best ? 'best: show it' : 'show it') : null)))))),
      h('img', { class: 'chart', src: `${api.file(b.id, l.picture)}?at=${l.liquid_ml}`, alt: 'Air that stays against the angle, a line for each edge; the table says the same.' })] : [])))
}

/** job.toml itself. */
export function decisionsStation(box: HTMLElement, b: Bench): void {
  const s = b.state!
  if (box.querySelector('textarea')?.dataset['dirty']) return // never under the writer's hands
  const open = box.querySelector('details')?.open ?? !!s.job.bad
  const area = h('textarea', { id: 'toml', spellcheck: 'false', rows: 18, wrap: 'off', 'data-key': 'toml', input: () => (area.dataset['dirty'] = '1') })
  const words = h('p', { role: 'alert', class: 'error' }, s.job.bad ? placed(s.job.bad.detail, s.job.bad.place) : '')
  let tag = ''
  const load = async () => {
    const d = await api.decisions(b.id)
    tag = d.tag
    area.value = d.text
    delete area.dataset['dirty']
  }
  const save = async () => {
    try {
      const job = await api.putDecisions(b.id, tag, area.value)
      delete area.dataset['dirty']
      words.textContent = ''
      await b.reload(job)
    } catch (e) {
      const err = e as ApiError
      words.textContent = placed(err.message, err.place)
      toLine(area, err.place)
    }
  }
  const details = h('details', { toggle: () => { if (details.open && !area.dataset['dirty']) void load() } }, h('summary', { 'data-key': 'decisions' }, 'All decisions: job.toml'),
    h('label', { for: 'toml', class: 'soft' }, 'The file itself, comments and all. An unsound text is not saved.'), area, words,
    h('div', { class: 'row' }, h('button', { class: 'primary', 'data-key': 'save', click: () => void save() }, 'Save'), h('button', { class: 'quiet', 'data-key': 'undo', click: () => void load() }, 'As saved')))
  rebuild(box, details)
  details.open = open
}
