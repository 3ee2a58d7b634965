// Package stacked draws parts with many layers over one spot, by closed form: bellows, discs on a shaft, a
// thread, a comb, a corrugated sheet, a ribbed grip, a sponge. They are hard for whatever looks along one
// direction, since a ray passes the surface dozens of times; checks and benchmarks use them to show that the cost
// grows with the facets and layers and no faster.
//
// All are closed, in mm, with their axis along z and facets turned outward.
package stacked
