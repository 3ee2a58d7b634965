// Signatures on their way to the server. One that is not acknowledged stays here and goes again, in order,
// with its key, so that twice is once.
import { ApiError } from '../http'
import { keep, kept } from './kept'
import { server, type Run, type Signature } from './model'

const AGAIN_MS = 4000

export class Outbox {
  waiting: Signature[]
  private sending = false
  private timer = 0
  private ended = false

  constructor(private readonly run: string, private readonly onRun: (r: Run) => void, private readonly onRefused: (s: Signature, words: string) => void, private readonly onChange: () => void) {
    this.waiting = kept<Signature[]>('outbox.' + run, [])
    addEventListener('online', this.flush)
  }

  end(): void {
    this.ended = true
    clearTimeout(this.timer)
    removeEventListener('online', this.flush)
  }

  put(s: Signature): void {
    this.waiting.push(s)
    this.store()
    this.flush()
  }

  private store(): void {
    keep('outbox.' + this.run, this.waiting.length ? this.waiting : null)
    this.onChange()
  }

  readonly flush = (): void => {
    void this.send()
  }

  private async send(): Promise<void> {
    if (this.sending || this.ended) return
    this.sending = true
    clearTimeout(this.timer)
    try {
      while (this.waiting.length && !this.ended) {
        const s = this.waiting[0]!
        const r = await server.sign(this.run, s)
        this.waiting.shift()
        this.store()
        this.onRun(r)
      }
    } catch (e) {
      const later = !(e instanceof ApiError) || e.status === 0 || e.status === 429 || e.status >= 500
      if (later) this.timer = window.setTimeout(this.flush, AGAIN_MS)
      else {
        // What the server will not take is not signed; what was signed after it may hang on it, so it is
        // handed back too.
        const back = this.waiting.splice(0)
        this.store()
        this.onRefused(back[0]!, (e as Error).message)
      }
    } finally {
      this.sending = false
      this.onChange()
    }
  }
}
