// Batches as the server gives them; docs/api.md describes it.
import { at, json, type Place } from './http'

export interface Batch { id: string; name: string; text?: string; tag: string; bad?: { detail: string; place?: Place }; stale: boolean; plan?: Plan }
export interface Plan {
  plan: {
    start: string
    end_s: number
    lower_bound_s: number
    overnight_shots: number
    schedules_tried: number
    now_s: number
    orders?: { order: string; ready_s: number; late_s: number }[]
    versions: { version: string; parts: number; shots: number; ready_s: number }[]
    late?: { words: string }[]
    steps: { id: string; kind: string; load: string; mix?: string; version?: string; mould?: string; start_s: number; end_s: number }[]
  }
  costs: {
    currency: string
    lines: { name: string; amount: number; share: number; rests_on: string }[]
    versions: { version: string; parts: number; shots: number; total: number; per_part: number; price_per_part: number; lines: { name: string; amount: number }[] | null }[] | null
    per_part: number
    price_per_part: number
    margin_pct: number
    purchases: { words: string }[] | null
  }
  break_even?: { from: number; to: number; way: string }[]
  warnings?: string[]
  helps?: { kind: string; words: string; sooner_s: number; cost_change: number; cannot_be?: string }[]
  quote?: { net: number; tax: number; total: number; currency: string; lines: { what: string; quantity: number; each: number; amount: number; basis: string }[] }
  changes?: { frozen_steps: number; kept_loads: number; moved: { load: string; was_s: number; is_s: number }[] | null; new_loads: string[] | null; gone_loads: string[] | null; moved_by_s: number; ready: { version: string; was_s: number; is_s: number; late_s: number }[] | null }
}

const batch = (id: string) => `/api/batches/${encodeURIComponent(id)}`

export const batchApi = {
  list: () => json<Batch[]>('GET', '/api/batches'),
  get: (id: string) => json<Batch>('GET', batch(id)),
  create: (name: string, text: string) => json<Batch>('POST', '/api/batches', { name, text }),
  put: (id: string, text: string, tag: string) => json<Batch>('PUT', batch(id), { text, tag }),
  plan: (id: string) => json<Batch>('POST', `${batch(id)}/plan`),
  starter: (job: string) => json<{ text: string }>('GET', `${at(job)}/batch-starter`),
  file: (id: string, name: string) => `${batch(id)}/out/${name}`,
}
