// One run: a step at a time, with its amounts, timers and signature.
import { h, num, rebuild } from '../dom'
import { castings } from './castings'
import { Clocks, span } from './clocks'
import { keep, kept } from './kept'
import { newKey } from '../books'
import type { Quantity, Run, SignOff, Step } from './model'
import { Outbox } from './outbox'

export class Walk {
  private at: number
  private readonly steps: Step[]
  private refused = ''
  private readonly outbox: Outbox
  private readonly clocks: Clocks
  private readonly strip = h('div', { class: 'strip-top' })
  private readonly head = h('header', {})
  private readonly card = h('section', { class: 'card step', tabindex: -1 })
  private readonly rest = h('section', { 'aria-label': 'All steps' })
  private readonly live = h('p', { class: 'visually-hidden', 'aria-live': 'polite' })

  constructor(app: HTMLElement, private readonly job: string, private run: Run, private readonly leave: () => void) {
    // A run that kept no plan has at least its titles.
    this.steps = run.plan?.steps ?? (run.steps ?? []).map((s) => ({ id: s.step, phase: '', stage: '', title: s.title, words: [], hard: s.hard }))
    this.clocks = new Clocks(run.id, () => this.ticked())
    this.outbox = new Outbox(run.id, (r) => this.signed(r), (s, words) => this.handedBack(s.step, words), () => this.draw())
    this.at = this.firstOpen()
    document.title = `${run.job} at the bench`
    app.replaceChildren(h('main', { class: 'walk' }, this.head, this.strip, this.card, this.rest), this.live)
    this.draw()
    this.outbox.flush()
  }

  end(): void {
    this.clocks.end()
    this.outbox.end()
  }

  private sign(id: string): SignOff | undefined {
    return this.run.signed?.find((s) => s.step === id)
  }

  private waits(id: string): boolean {
    return this.outbox.waiting.some((s) => s.step === id)
  }

  private firstOpen(): number {
    const i = this.steps.findIndex((s) => !this.sign(s.id) && !this.waits(s.id))
    return i < 0 ? this.steps.length : i
  }

  /** The hard stop before a step that nobody has put a name to. */
  private stopBefore(i: number): Step | undefined {
    return this.steps.slice(0, i).find((s) => s.hard && !this.sign(s.id) && !this.waits(s.id))
  }

  private signed(r: Run): void {
    this.run = { ...r, ...(r.plan ? {} : this.run.plan ? { plan: this.run.plan } : {}) }
    this.draw()
  }

  private handedBack(step: string, words: string): void {
    this.refused = `Not signed: ${words}`
    this.at = Math.max(0, this.steps.findIndex((s) => s.id === step))
    this.live.textContent = this.refused
    this.draw()
  }

  private put(s: Step, more: { value?: number; unit?: string; skipped?: boolean; reason?: string }): void {
    this.refused = ''
    keep(this.noteKey(s), null)
    this.outbox.put({ step: s.id, operator: kept('operator', '') || this.run.operator, key: newKey(), signed_at: new Date().toISOString(), ...more })
    this.show(this.firstOpen())
  }

  private noteKey(s: Step): string {
    return `note.${this.run.id}.${s.id}`
  }

  private show(i: number): void {
    this.at = i
    this.draw()
    this.card.focus({ preventScroll: true })
    scrollTo({ top: 0 })
  }

  private ticked(): void {
    rebuild(this.strip, this.clocks.strip())
  }

  private draw(): void {
    const n = this.steps.length
    const done = this.run.signed?.length ?? 0
    const pending = this.outbox?.waiting.length ?? 0
    rebuild(this.head, h('p', {}, h('a', { href: `/bench/${encodeURIComponent(this.job)}`, click: (e) => { e.preventDefault(); this.leave() } }, 'Other runs')), h('h1', {}, this.run.job),
      h('p', { class: 'soft' }, `${done} of ${n} steps signed`, pending ? h('strong', { class: 'pending' }, `; ${pending} ${pending === 1 ? 'waits' : 'wait'} here for the server`) : null), h('progress', { max: n, value: done, 'aria-label': 'Steps signed' }))
    this.ticked()
    if (this.at >= n) this.drawEnd()
    else this.drawStep(this.at)
    rebuild(this.rest, h('details', { 'data-key': 'all' }, h('summary', {}, 'All steps'), h('ol', { class: 'plain all-steps' }, ...this.steps.map((s, i) => h('li', {}, h('button', { class: 'quiet', 'data-key': 'go-' + i, ...(i === this.at ? { 'aria-current': 'step' } : {}), click: () => this.show(i) }, this.mark(s), s.title))))),
      this.run.plan?.cautions.length ? h('details', { 'data-key': 'cautions' }, h('summary', {}, 'Take care'), h('ul', {}, ...this.run.plan.cautions.map((w) => h('li', {}, w)))) : null,
      this.run.plan?.never_touch.length ? h('details', { 'data-key': 'never' }, h('summary', {}, 'Never touch'), h('ul', {}, ...this.run.plan.never_touch.map((w) => h('li', {}, w)))) : null)
  }

  private mark(s: Step): HTMLElement {
    const sign = this.sign(s.id)
    const words = sign ? (sign.skipped ? 'skipped' : 'signed') : this.waits(s.id) ? 'waits' : s.hard ? 'stop' : 'open'
    return h('span', { class: 'mark ' + words }, words)
  }

  private drawStep(i: number): void {
    const s = this.steps[i]!
    const sign = this.sign(s.id)
    const stop = this.stopBefore(i)
    const field = s.ask ? h('input', { id: 'asked', 'data-key': 'asked', type: 'number', inputmode: 'decimal', step: 'any', ...(kept<string>(this.noteKey(s), '') ? { value: kept<string>(this.noteKey(s), '') } : {}), input: () => keep(this.noteKey(s), field!.value) }) : null
    rebuild(this.card,
      h('p', { class: 'where' }, h('span', {}, `Step ${i + 1} of ${this.steps.length}`), s.phase ? h('span', {}, s.stage && s.stage !== 'casting' ? `${s.phase}, ${s.stage}` : s.phase) : null, s.hard ? h('strong', { class: 'stop' }, 'Hard stop') : null),
      h('h2', {}, s.title),
      s.quantities?.length ? h('ul', { class: 'plain amounts' }, ...s.quantities.map(amount)) : null,
      ...(s.words ?? []).map((w) => h('p', {}, w)),
      s.timers?.length ? h('ul', { class: 'plain timers' }, ...s.timers.map((t, k) => h('li', {}, h('button', { class: 'big', 'data-key': `time-${k}`, click: () => this.clocks.start(`${s.id}.${k}`, `${s.title}: ${t.name}`, t) }, `Time it: ${t.name}, ${span(t)}`), t.basis ? h('span', { class: 'soft block' }, t.basis) : null))) : null,
      ...(s.cautions ?? []).map((w) => h('p', { class: 'note' }, w)),
      s.why || s.source ? h('details', { 'data-key': 'why' }, h('summary', {}, 'Why'), h('p', {}, s.why), s.source ? h('p', { class: 'soft' }, s.source) : null) : null,
      this.refused ? h('p', { class: 'error', role: 'alert' }, this.refused) : null,
      ...this.foot(s, sign, stop, field),
      h('div', { class: 'turn' }, h('button', { 'data-key': 'back', disabled: i === 0, click: () => this.show(i - 1) }, 'Back'), h('button', { 'data-key': 'on', click: () => this.show(i + 1) }, 'Look ahead')))
  }

  private foot(s: Step, sign: SignOff | undefined, stop: Step | undefined, field: HTMLInputElement | null): (HTMLElement | null)[] {
    if (sign) {
      const value = sign.value !== undefined ? `, ${num(sign.value, 3)} ${sign.unit ?? ''}` : ''
      return [h('p', { class: 'verdict good' }, sign.skipped ? `Skipped by ${sign.operator}: ${sign.reason ?? ''}` : `Signed by ${sign.operator}${value}`)]
    }
    if (this.waits(s.id)) return [h('p', { class: 'verdict waiting', role: 'status' }, 'Kept on this device, not signed yet: the server has not answered. It is sent again by itself.')]
    if (stop) return [h('p', { class: 'verdict bad' }, `First: ${stop.title}.`), h('button', { class: 'big', 'data-key': 'to-stop', click: () => this.show(this.steps.indexOf(stop)) }, 'Go to that stop')]
    const reason = h('textarea', { id: 'reason', rows: 2, maxlength: 500 })
    const refuse = h('p', { class: 'error', role: 'alert' })
    const skip = h('details', { 'data-key': 'skip' }, h('summary', {}, 'Skip this step'), h('label', { class: 'line' }, h('span', {}, 'The reason, which stays in the records'), reason), refuse, h('button', { class: 'big', 'data-key': 'do-skip', click: () => {
      if (!reason.value.trim()) {
        refuse.textContent = 'Give the reason: a skipped step stays in the records with it.'
        reason.focus()
        return
      }
      this.put(s, { skipped: true, reason: reason.value.trim() })
    } }, 'Skip, with this reason'))
    return [field ? h('label', { class: 'line asked' }, h('span', {}, `${s.ask!.words}, ${s.ask!.unit}${s.ask!.want ? ` (wanted: ${num(s.ask!.want, 2)})` : ''}`), field) : null,
      h('button', { class: 'primary sign', 'data-key': 'sign', click: () => this.put(s, field?.value ? { value: Number(field.value), unit: s.ask!.unit } : {}) }, s.hard ? 'Done: I sign' : 'Done'),
      skip]
  }

  private drawEnd(): void {
    rebuild(this.card, h('h2', {}, 'All steps are signed'), this.outbox.waiting.length ? h('p', { class: 'note', role: 'status' }, 'Some signatures still wait here for the server. Keep this page until they are through.') : h('p', {}, 'Put each casting down when it is out of the mould and looked at.'),
      castings(this.run), h('div', { class: 'turn' }, h('button', { click: () => this.show(this.steps.length - 1) }, 'Back')))
  }
}

function amount(q: Quantity): HTMLElement {
  return h('li', {}, h('span', { class: 'figure' }, num(q.value, q.value < 10 ? 3 : 2), h('span', { class: 'unit' }, ' ' + q.unit)), h('span', {}, h('strong', {}, q.name), q.note ? h('span', { class: 'soft block' }, q.note) : null))
}
