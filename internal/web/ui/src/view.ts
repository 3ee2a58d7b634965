// The plate: the view with its controls and legend.
import { h, num, rebuild } from './dom'
import type { Bench } from './bench'
import type { Closing, Vec } from './api'
import { draftColour, draftSteps, LOCKED, rgb, SHOWN, WALL, type Rgb } from './scale'
import { apart, stood, type Filling } from './filling'
import { neutral, Stage, type Body } from './stage'

type Subject = 'part' | 'mould' | 'fill'
type Mode = 'plain' | 'draft' | 'undercut' | 'show'
const MODES: [Mode, string][] = [['plain', 'Shape'], ['draft', 'Draft'], ['undercut', 'Undercut'], ['show', 'Show faces']]

/** Facets by how they leave, as the server numbers them. */
const CAUGHT = 3

const PIECE_COLOURS = ['#5f97a0', '#b9a58a', '#7f8fbf', '#8aa57a', '#b58aa5']
const CAST = '#f0a93a'

const pieceColour = (casting: boolean, i: number): string => (casting ? CAST : PIECE_COLOURS[i % PIECE_COLOURS.length]!)

export class View {
  private stage: Stage | null = null
  private part: Body | null = null
  private pieces: Body[] = []
  private now: Mode = 'plain'
  private what: Subject = 'part'
  private filling: Filling | null = null
  private poured = 1
  private axis: 0 | 1 | 2 = 1
  private share = 0.5
  private cut = false
  private opened = 0
  private apart = false
  private line = true
  private hidden = new Set<string>()
  private bar = h('div', { class: 'plate-bar', role: 'group', 'aria-label': 'What the view shows' })
  private tools = h('div', { class: 'plate-tools', role: 'group', 'aria-label': 'Cut and open' })
  private legend = h('div', { class: 'legend', 'aria-live': 'off' })
  private hint = h('p', { class: 'plate-hint', id: 'view-keys' })
  private failed = ''

  constructor(plate: HTMLElement, private bench: Bench) {
    const box = h('div', { class: 'canvas-box' })
    plate.append(this.bar, box, this.tools)
    box.append(this.legend, this.hint)
    try {
      this.stage = new Stage(box)
      this.stage.onPick = (p) => this.picked(p)
    } catch {
      this.failed = 'This browser gives no 3D view (WebGL 2 is off). Everything else works; the pictures are under Mould.'
    }
    this.update()
  }

  private get state() { return this.bench.state }

  setPart(): void {
    const p = this.state?.part
    if (!p || !this.stage) return
    const s = Stage.surface(p.arrays.get('positions') as Float32Array, p.arrays.get('corners') as Uint32Array)
    this.part = this.stage.make('part', s, neutral())
    this.stage.show([this.part])
    this.what = 'part'
    this.colour()
  }

  setShow(): void { this.colour(); this.update() }

  setJudgement(): void {
    const j = this.state?.judged
    if (j && this.stage && this.what === 'part') {
      this.stage.loops([...j.arrays].filter(([n]) => n.startsWith('loop.')).map(([, a]) => a as Float32Array))
      this.stage.showLoops(this.line)
    }
    this.colour()
    this.update()
  }

  setMould(): void {
    const m = this.state?.mould
    this.pieces = []
    if (m && this.stage) {
      const meta = m.meta['pieces'] as { name: string; casting: boolean; exit: Vec }[]
      this.pieces = meta.map((q, i) => this.stage!.make(q.name, Stage.surface(m.arrays.get(`${i}.positions`) as Float32Array, m.arrays.get(`${i}.corners`) as Uint32Array),
        rgb(pieceColour(q.casting, i)), q.exit))
    } else if (this.what === 'mould') this.subject('part')
    this.setFill()
    this.update()
  }

  private setFill(): void {
    const p = this.state?.fill
    this.filling = null
    if (p && this.stage) {
      const corners = p.arrays.get('corners') as Uint32Array
      const s = Stage.surface(stood(p.arrays.get('positions') as Float32Array, p.meta['up'] as Vec), corners)
      this.filling = this.stage.makeFilling(s, apart(p.arrays.get('wet') as Float32Array, corners), rgb(CAST), rgb(LOCKED))
    } else if (this.what === 'fill') this.subject('part')
  }

  subject(what: Subject): void {
    if (!this.stage || (what === 'mould' && this.pieces.length === 0) || (what === 'fill' && !this.filling)) return
    if (this.what !== what) {
      this.what = what
      this.cut = this.apart = false
      this.opened = 0
      this.stage.stop()
      if (what === 'mould') {
        this.stage.show(this.pieces)
        this.opened = 0.5
        this.stage.open(this.opened)
        this.stage.fit()
      } else if (what === 'fill') {
        this.stage.show([this.filling!.body])
        this.pour(1)
      } else if (this.part) {
        this.stage.show([this.part])
        this.setJudgement()
      }
    }
    this.update()
  }

  /** Shows the mould filled to a share of the pour. */
  private pour(share: number): void {
    this.poured = share
    this.filling?.pour(share)
  }

  /** Lowers the upper half onto the lower about an edge, from the angle worked out. */
  closeLid(c: Closing): void {
    this.subject('mould')
    const body = this.pieces.find((p) => p.name === 'upper half')
    if (!body || !this.stage) return
    this.opened = 0
    this.apart = false
    this.stage.open(0)
    const casting = this.pieces.find((p) => p.exit.lengthSq() === 0)
    if (casting) casting.group.visible = false // what is poured is not yet its shape
    this.stage.lower(body, c.hinge, c.from_deg)
    this.stage.refit()
    this.stage.animate(3, (t) => this.stage!.lower(body, c.hinge, c.from_deg * (1 - t)), () => {
      if (casting) casting.group.visible = !this.hidden.has(casting.name)
      this.update()
    })
    this.update()
  }

  mode(m: Mode): void {
    this.now = m
    this.colour()
    this.update()
  }

  setPicking(on: boolean): void {
    if (this.stage) this.stage.canvas.classList.toggle('picking', on)
    if (on) this.subject('part')
  }

  /** Turns to undercut i and rings a place on it. */
  showUndercut(i: number): void {
    this.subject('part')
    this.mode('undercut')
    const cut = this.state?.judged?.arrays.get('undercut')
    if (cut) this.ring((f) => cut[f] === i + 1, (_at, area) => area)
  }

  /** Turns to a place given in the part's coordinates. */
  showPlace(at: Vec): void {
    this.subject('part')
    this.mode('undercut')
    const o = this.state?.part?.meta['origin_mm'] as Vec | undefined
    if (o) this.ring(() => true, (c) => -Math.hypot(...sub(c, sub(at, o))))
  }

  /** Rings the best facet of some: places are on the surface, where the middle of a whole ring is not. */
  private ring(among: (f: number) => boolean, score: (middle: Vec, area: number) => number): void {
    const p = this.state?.part
    if (!p || !this.stage) return
    const pos = p.arrays.get('positions')!, c = p.arrays.get('corners')!
    let best = -Infinity
    let place: { at: Vec; normal: Vec } | null = null
    for (let f = 0; f < c.length / 3; f++) {
      if (!among(f)) continue
      const v = [0, 1, 2].map((k) => { const q = c[3 * f + k]! * 3; return [pos[q]!, pos[q + 1]!, pos[q + 2]!] as Vec })
      const a = sub(v[1]!, v[0]!), d = sub(v[2]!, v[0]!)
      const n: Vec = [a[1] * d[2] - a[2] * d[1], a[2] * d[0] - a[0] * d[2], a[0] * d[1] - a[1] * d[0]]
      const area = Math.hypot(...n)
      const middle = [0, 1, 2].map((k) => (v[0]![k]! + v[1]![k]! + v[2]![k]!) / 3) as Vec
      const points = score(middle, area)
      if (points > best && area > 0) {
        best = points
        place = { at: middle, normal: n.map((x) => x / area) as Vec }
      }
    }
    this.stage.mark(place)
  }

  private picked(p: Vec): void {
    const o = this.state?.part?.meta['origin_mm'] as Vec | undefined
    if (o && this.what === 'part') this.bench.pick([p[0] + o[0], p[1] + o[1], p[2] + o[2]])
  }

  private colour(): void {
    const s = this.state
    if (!s?.part || !this.part || !this.stage) return
    const plain = neutral()
    const draft = s.judged?.arrays.get('draft'), reach = s.judged?.arrays.get('reach'), cut = s.judged?.arrays.get('undercut'), show = s.show?.arrays.get('show')
    const locked = rgb(LOCKED), wall = rgb(WALL), shown = rgb(SHOWN)
    const isLocked = (f: number) => !!reach && reach[f] === CAUGHT
    let colour: (f: number) => Rgb = () => plain
    let striped: (f: number) => boolean = () => false
    if (this.now === 'draft' && draft) {
      const of = draftColour(draftSteps(s.judgement?.draft_asked_deg ?? 1))
      colour = (f) => (isLocked(f) ? locked : of(draft[f]! / 100))
      striped = isLocked
    } else if (this.now === 'undercut' && cut) {
      colour = (f) => (cut[f] ? locked : Math.abs(draft?.[f] ?? 900) < 5 ? wall.map((w, i) => (w + plain[i]!) / 2) as Rgb : plain)
      striped = (f) => cut[f]! > 0
    } else if (this.now === 'show' && show) {
      colour = (f) => (show[f] ? shown : plain)
    }
    this.stage.paint(this.part, colour, striped)
  }

  update(): void {
    const s = this.state
    const judged = !!s?.judged
    rebuild(this.bar,
      this.pieces.length ? pair('subject', [['part', 'Part'], ['mould', 'Mould'], ...(this.filling ? [['fill', 'Filling'] as const] : [])], this.what, (v) => this.subject(v as Subject)) : null,
      this.what === 'part' ? pair('mode', MODES.filter(([m]) => m === 'plain' || (m === 'show' ? s?.show : judged)), this.now, (v) => this.mode(v as Mode)) : null,
      this.what === 'mould' ? h('fieldset', { class: 'checks' }, h('legend', { class: 'visually-hidden' }, 'Pieces shown'), ...this.pieces.map((b, i) => {
        const dot = h('span', { class: 'swatch' })
        dot.style.backgroundColor = pieceColour((s?.mould?.meta['pieces'] as { casting: boolean }[] | undefined)?.[i]?.casting ?? false, i)
        return h('label', { class: 'check' }, h('input', { type: 'checkbox', 'data-key': 'piece-' + i, checked: !this.hidden.has(b.name), change: (e) => this.hide(b, !(e.target as HTMLInputElement).checked) }), dot, b.name)
      })) : null)
    rebuild(this.tools,
      this.what === 'part' && judged && s!.judgement!.opens ? toggle('line', 'Parting line', this.line, (on) => { this.line = on; this.stage?.showLoops(on) }) : null,
      this.what === 'mould' ? this.opening() : null,
      this.what === 'fill' ? this.pouring() : null,
      this.sectionTools(),
      h('button', { class: 'quiet', 'data-key': 'fit', click: () => this.stage?.fit() }, 'Fit'))
    this.drawLegend()
    this.hint.textContent = this.failed || (s?.picking ? 'Click a face to mark it, again to unmark it.' : 'Drag to turn, wheel to zoom. Keys: arrows, + and −, 0 fits.')
    this.hint.classList.toggle('strong', !!s?.picking || !!this.failed)
    const what = { part: 'The part', mould: 'The mould', fill: 'The casting' }[this.what]
    this.stage?.canvas.setAttribute('aria-label', `${what}${s ? ' ' + s.job.name : ''}, ${this.what === 'part' ? (MODES.find(([m]) => m === this.now)?.[1] ?? '') : this.what === 'fill' ? 'filled ' + Math.round(100 * this.poured) + ' %' : 'opened ' + Math.round(100 * this.opened) + ' %'}`)
  }

  private hide(b: Body, gone: boolean): void {
    if (gone) this.hidden.add(b.name)
    else this.hidden.delete(b.name)
    b.group.visible = !gone
    this.stage?.draw()
  }

  private opening(): HTMLElement {
    const slider = h('input', { type: 'range', min: 0, max: 100, value: Math.round(100 * this.opened), id: 'opened', 'data-key': 'opened', input: () => { this.stage?.stop(); set(Number(slider.value) / 100) } })
    const set = (v: number) => {
      this.opened = v
      this.apart = false
      this.stage?.open(v)
      slider.value = String(Math.round(100 * v))
    }
    const play = () => {
      const from = this.opened > 0.99 ? 0 : this.opened
      this.stage?.animate(2.4 * (1 - from) + 0.2, (t) => set(from + (1 - from) * t), () => this.update())
    }
    return h('span', { class: 'tool' }, h('button', { class: 'quiet', 'data-key': 'play', click: play }, 'Open it'), h('label', { for: 'opened', class: 'visually-hidden' }, 'How far it is open'), slider,
      toggle('apart', 'Apart', this.apart, (on) => { this.apart = on; this.stage?.stop(); this.opened = 0; this.stage?.explode(on); this.update() }))
  }

  private pouring(): HTMLElement {
    const total = (this.state!.fill!.meta['total_mm3'] as number) / 1000
    const words = h('output', { for: 'poured' })
    const slider = h('input', { type: 'range', min: 0, max: 200, value: Math.round(200 * this.poured), id: 'poured', 'data-key': 'poured', input: () => { this.stage?.stop(); set(Number(slider.value) / 200) } })
    const set = (v: number) => {
      this.pour(v)
      slider.value = String(Math.round(200 * v))
      words.textContent = `${num(v * total, 1)} of ${num(total, 1)} mL`
    }
    set(this.poured)
    const play = () => {
      const from = this.poured > 0.99 ? 0 : this.poured
      this.stage?.animate(6 * (1 - from) + 0.2, (t) => set(from + (1 - from) * t), () => this.update())
    }
    return h('span', { class: 'tool' }, h('button', { class: 'quiet', 'data-key': 'pour', click: play }, 'Pour'), h('label', { for: 'poured', class: 'visually-hidden' }, 'Poured'), slider, words)
  }

  private sectionTools(): HTMLElement {
    const apply = () => this.stage?.section(this.cut ? { axis: this.axis, share: this.share } : null)
    const slider = h('input', { type: 'range', min: 1, max: 99, value: Math.round(100 * this.share), id: 'cut-at', 'data-key': 'cut-at', input: () => { this.share = Number(slider.value) / 100; apply() } })
    const axis = h('select', { id: 'cut-axis', 'data-key': 'cut-axis', change: () => { this.axis = Number(axis.value) as 0 | 1 | 2; apply() } }, ...['x', 'y', 'z'].map((a, i) => h('option', { value: i, selected: i === this.axis }, 'across ' + a)))
    return h('span', { class: 'tool' }, toggle('cut', 'Section', this.cut, (on) => { this.cut = on; apply(); this.update() }),
      this.cut ? h('label', { for: 'cut-axis', class: 'visually-hidden' }, 'Section direction') : null, this.cut ? axis : null,
      this.cut ? h('label', { for: 'cut-at', class: 'visually-hidden' }, 'Section place') : null, this.cut ? slider : null)
  }

  private drawLegend(): void {
    const s = this.state
    const item = (colour: string, words: string, striped = false) => {
      const dot = h('span', { class: 'swatch' + (striped ? ' striped' : '') })
      dot.style.backgroundColor = colour
      return h('li', {}, dot, words)
    }
    if (this.what === 'fill') {
      const f = s?.report?.fill
      const air = (f?.tilted ?? f?.flat)?.pockets ?? []
      const tilt = f?.tilt?.tilt_deg ?? 0
      return rebuild(this.legend, h('p', { class: 'legend-title' }, tilt > 0 ? `As it stands, tilted by ${num(tilt, 1)}°` : 'As it stands, level'),
        h('ul', {}, item(CAST, 'resin'), ...air.slice(0, 4).map((p) => item(LOCKED, `air that stays: ${num(p.volume_mm3, 1)} ± ${num(p.error_mm3, 1)} mm³`, true)), air.length > 4 ? h('li', {}, `and ${air.length - 4} smaller`) : null, air.length ? null : h('li', {}, 'no air stays')))
    }
    if (this.what === 'mould' || this.now === 'plain' || !s?.part) return rebuild(this.legend)
    if (this.now === 'show') return rebuild(this.legend, h('ul', {}, item(SHOWN, `show face, ${num((s.show?.meta['area_mm2'] as number) ?? 0, 0)} mm²`)))
    if (!s.judged) return rebuild(this.legend)
    if (this.now === 'undercut') {
      return rebuild(this.legend, h('ul', {}, s.judgement!.undercuts.length ? item(LOCKED, 'locks the mould', true) : item('transparent', 'nothing locks'), item('#76727d', 'wall without draft')))
    }
    const steps = draftSteps(s.judgement!.draft_asked_deg).reverse() // from the lower half's side to the upper's
    const bounds = steps.slice(1).map((q) => (Math.abs(q.from) < 0.06 ? '' : num(q.from, 1)))
    bounds[bounds.length / 2 - 1] = '0'
    rebuild(this.legend,
      h('p', { class: 'legend-title' }, 'Draft, in degrees'),
      h('div', { class: 'strip', role: 'img', 'aria-label': `Draft from over ${num(6 * s.judgement!.draft_asked_deg, 1)} degrees towards the lower half, over 0 at a wall, to the same towards the upper half; the darker, the less` },
        ...steps.map((q, i) => {
          const cell = h('span', { class: 'cell' }, h('span', { class: 'bound' }, i > 0 ? (bounds[i - 1] ?? '') : ''))
          cell.style.setProperty('--cell', q.colour)
          return cell
        })),
      h('p', { class: 'strip-ends' }, h('span', {}, 'leaves with the lower half'), h('span', {}, 'with the upper')),
      s.judgement!.undercuts.length ? h('ul', {}, item(LOCKED, 'locks the mould', true)) : null)
  }
}

const sub = (a: Vec, b: Vec): Vec => [a[0] - b[0], a[1] - b[1], a[2] - b[2]]

function pair(name: string, options: readonly (readonly [string, string])[], value: string, set: (v: string) => void): HTMLElement {
  return h('fieldset', { class: 'pair' }, h('legend', { class: 'visually-hidden' }, name === 'mode' ? 'Colours' : 'Subject'), ...options.map(([v, words]) =>
    h('label', {}, h('input', { type: 'radio', name, value: v, checked: v === value, 'data-key': `${name}-${v}`, class: 'visually-hidden', change: () => set(v) }), h('span', {}, words))))
}

function toggle(key: string, words: string, on: boolean, set: (on: boolean) => void): HTMLElement {
  const b = h('button', { class: 'quiet', 'data-key': key, 'aria-pressed': String(on), click: () => {
    const next = b.getAttribute('aria-pressed') !== 'true'
    b.setAttribute('aria-pressed', String(next))
    set(next)
  } }, words)
  return b
}
