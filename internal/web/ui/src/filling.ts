// A casting as it fills: what is wet is resin, what is not yet is glass, and air that stays is striped.
import { BackSide, BufferAttribute, Color, DoubleSide, FrontSide, Group, Mesh, MeshBasicMaterial, MeshLambertMaterial, Vector3, type LineSegments, type Material } from 'three'
import type { Body } from './stage'
import type { Surface } from './surface'
import type { Rgb } from './scale'

export interface Filling {
  body: Body
  /** Shows the fill at a share of the pour, 0 to 1. */
  pour(share: number): void
}

/** Later than the end of any pour. */
const NEVER = 2

/** wet is the share of the pour at which resin comes to each corner of the surface, negative where air stays. */
export function pouredInto(s: Surface, ink: LineSegments, wet: Float32Array, resin: Rgb, air: Rgb): Filling {
  const at = new Float32Array(wet.length)
  const stays = new Float32Array(wet.length)
  wet.forEach((w, i) => {
    at[i] = w < 0 ? NEVER : w
    stays[i] = w < 0 ? 1 : 0
  })
  s.geometry.setAttribute('wet', new BufferAttribute(at, 1))
  s.geometry.setAttribute('stays', new BufferAttribute(stays, 1))
  const poured = { value: 1 }
  const rises = (m: Material, keep: 'wet' | 'dry') => {
    m.onBeforeCompile = (q) => {
      q.uniforms['poured'] = poured
      q.vertexShader = 'attribute float wet;\nattribute float stays;\nvarying float vWet;\nvarying float vStays;\n' + q.vertexShader.replace('#include <begin_vertex>', '#include <begin_vertex>\n  vWet = wet;\n  vStays = stays;')
      const only = keep === 'wet' ? 'if (vWet > poured || poured <= 0.0) discard;' : `if (vWet <= poured && poured > 0.0) discard;
  if (vStays > 0.5 && poured >= 1.0) { diffuseColor.rgb = mod(gl_FragCoord.x + gl_FragCoord.y, 9.0) < 4.0 ? vec3(${air.map((v) => v.toFixed(3)).join(', ')}) : vec3(1.0); diffuseColor.a = 0.95; }`
      q.fragmentShader = 'uniform float poured;\nvarying float vWet;\nvarying float vStays;\n' + q.fragmentShader.replace('#include <color_fragment>', '#include <color_fragment>\n  ' + only)
    }
    m.customProgramCacheKey = () => 'filling-' + keep
    return m
  }
  const front = rises(new MeshLambertMaterial({ color: new Color().setRGB(...resin), side: FrontSide }), 'wet')
  // Seen through the open top, the inside of the wet skin stands for the level.
  const level = rises(new MeshBasicMaterial({ color: new Color().setRGB(...resin).multiplyScalar(0.8), side: BackSide }), 'wet')
  const glass = rises(new MeshLambertMaterial({ color: 0xb9cfd2, side: DoubleSide, transparent: true, opacity: 0.22, depthWrite: false }), 'dry') as MeshLambertMaterial
  const group = new Group()
  const mesh = new Mesh(s.geometry, glass)
  mesh.renderOrder = 2
  group.add(new Mesh(s.geometry, level), new Mesh(s.geometry, front), mesh, ink)
  const body: Body = { name: 'casting', group, mesh, ink, facets: s.facets, exit: new Vector3(), cut: [glass, front, level] }
  return { body, pour: (share) => { poured.value = share } }
}

/** Turns places so that a direction points up. */
export function stood(positions: Float32Array, up: readonly number[]): Float32Array {
  const z = new Vector3(up[0], up[1], up[2]).normalize()
  const x = new Vector3(1, 0, 0).addScaledVector(z, -z.x)
  if (x.lengthSq() < 0.01) x.set(0, 1, 0).addScaledVector(z, -z.y)
  x.normalize()
  const y = new Vector3().crossVectors(z, x)
  const out = new Float32Array(positions.length)
  const p = new Vector3()
  for (let i = 0; i < positions.length; i += 3) {
    p.set(positions[i]!, positions[i + 1]!, positions[i + 2]!)
    out[i] = p.dot(x)
    out[i + 1] = p.dot(y)
    out[i + 2] = p.dot(z)
  }
  return out
}

/** What belongs to corners, for facets whose corners stand apart. */
export function apart(values: Float32Array, corners: Uint32Array): Float32Array {
  const out = new Float32Array(corners.length)
  corners.forEach((v, i) => { out[i] = values[v]! })
  return out
}
