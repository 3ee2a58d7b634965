// Package mouldability says how a part leaves a mould that opens along ±d.
//
// Three questions, three entry points:
//
//   - Which direction? A Searcher scores directions over the hemisphere with a fast estimate: one
//     sample at the middle of each facet, answered as exactly as a ray. Each score is a table of
//     named terms.
//   - What happens along this direction? Analyse answers exactly, up to a stated tolerance: the
//     draft of each facet, the undercuts with area, trapped volume and depth, height, projected area.
//   - Where does the mould part? Part labels each facet with one of two halves and traces the line
//     between them.
//
// A facet whose outward normal n has n·d > 0 leaves the mould along +d, one with n·d < 0 along −d;
// its draft is asin(n·d). It is an undercut where the ray along its way out meets the part again.
// The helpers Show… mark the facets that must stay free of flash.
package mouldability
