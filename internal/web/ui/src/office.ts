// Batches and records as the server gives them; docs/api.md describes it.
import { at, json, type Place } from './http'

export interface Batch { id: string; name: string; text?: string; tag: string; bad?: { detail: string; place?: Place }; stale: boolean; plan?: Plan }
export interface Plan {
  plan: {
    start: string
    end_s: number
    lower_bound_s: number
    overnight_shots: number
    schedules_tried: number
    versions: { version: string; parts: number; shots: number; ready_s: number }[]
    late?: { words: string }[]
    steps: { id: string; kind: string; load: string; mix?: string; version?: string; mould?: string; start_s: number; end_s: number }[]
  }
  costs: {
    currency: string
    lines: { name: string; amount: number; share: number; rests_on: string }[]
    per_part: number
    price_per_part: number
    margin_pct: number
    purchases: { words: string }[] | null
  }
  break_even?: { from: number; to: number; way: string }[]
  warnings?: string[]
}

const batch = (id: string) => `/api/batches/${encodeURIComponent(id)}`

export const batchApi = {
  list: () => json<Batch[]>('GET', '/api/batches'),
  get: (id: string) => json<Batch>('GET', batch(id)),
  create: (name: string, text: string) => json<Batch>('POST', '/api/batches', { name, text }),
  put: (id: string, text: string, tag: string) => json<Batch>('PUT', batch(id), { text, tag }),
  plan: (id: string) => json<Batch>('POST', `${batch(id)}/plan`),
  starter: (job: string) => json<{ text: string }>('GET', `${at(job)}/batch-starter`),
}

export interface Mould { id: string; name: string; job: string; family: string; made_on: string; expected_shots: number; retired_on?: string; life: { words: string; fillings: number; good: number; mended: number; scrap: number } }
export interface Casting { id: string; mould: string; poured_at: string; outcome: string; casting_g?: number; predicted_g?: number; defects?: { code: string; place: string }[]; operator: string; notes?: string }
export interface Cause { cause: string; words: string; why: string; do: string; for?: string[]; against?: string[]; source: string }

export const recordApi = {
  moulds: () => json<Mould[]>('GET', '/api/records/moulds'),
  castings: (mould: string) => json<Casting[]>('GET', `/api/records/shots${mould ? `?mould=${encodeURIComponent(mould)}` : ''}`),
  defects: () => json<{ code: string; words: string }[]>('GET', '/api/records/defects'),
  causes: (shot: string, defect: string, job: string) => json<Cause[]>('GET', `/api/records/shots/${encodeURIComponent(shot)}/causes?defect=${encodeURIComponent(defect)}${job ? `&job=${encodeURIComponent(job)}` : ''}`),
  addMould: (m: { name: string; job: string; made_on: string; expected_shots: number; operator: string; key: string }) => json<Mould>('POST', '/api/records/moulds', m),
  addCasting: (c: { mould: string; outcome: string; casting_g?: number; defects?: { code: string; place: string }[]; operator: string; notes?: string; key: string }) => json<Casting>('POST', '/api/records/shots', c),
}
