// A rough stand-in for a large surface while the view moves: what is near each other becomes one corner.
import { BufferAttribute, BufferGeometry } from 'three'
import type { Surface } from './surface'

/** Surfaces of more facets than this get a stand-in. */
const LARGE = 50_000
/** Cells along the longest side of a stand-in: some 20,000 facets. */
const CELLS = 72

export interface Coarse {
  geometry: BufferGeometry
  /** For each facet the one of the surface that it stands for. */
  of: Uint32Array
}

export function coarse(s: Surface): Coarse | null {
  if (s.facets <= LARGE) return null
  const pos = s.geometry.getAttribute('position').array as Float32Array
  s.geometry.computeBoundingBox()
  const { min, max } = s.geometry.boundingBox!
  const cell = Math.max(max.x - min.x, max.y - min.y, max.z - min.z) / CELLS || 1
  const seen = new Map<number, number>()
  const at: number[] = []
  const corner = (c: number): number => {
    const x = pos[3 * c]!, y = pos[3 * c + 1]!, z = pos[3 * c + 2]!
    const key = (Math.floor((x - min.x) / cell) * 1024 + Math.floor((y - min.y) / cell)) * 1024 + Math.floor((z - min.z) / cell)
    let v = seen.get(key)
    if (v === undefined) {
      v = at.length / 3
      seen.set(key, v)
      at.push(x, y, z)
    }
    return v
  }
  const corners: number[] = []
  const of: number[] = []
  for (let f = 0; f < s.facets; f++) {
    const a = corner(3 * f), b = corner(3 * f + 1), c = corner(3 * f + 2)
    if (a === b || b === c || c === a) continue
    corners.push(a, b, c)
    of.push(f)
  }
  const geometry = new BufferGeometry()
  const apart = new Float32Array(3 * corners.length)
  corners.forEach((v, i) => apart.set(at.slice(3 * v, 3 * v + 3), 3 * i))
  geometry.setAttribute('position', new BufferAttribute(apart, 3))
  geometry.setAttribute('color', new BufferAttribute(new Float32Array(3 * corners.length).fill(1), 3))
  geometry.setAttribute('striped', new BufferAttribute(new Float32Array(corners.length), 1))
  geometry.computeVertexNormals()
  return { geometry, of: Uint32Array.from(of) }
}
