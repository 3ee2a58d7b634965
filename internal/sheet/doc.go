// Package sheet makes what a maker looks at and prints: section and plan drawings with dimensions in
// mm, as SVG and PDF from one model, and shaded pictures of the pieces as PNG.
//
//	loops, err := sheet.Section(ctx, piece, sheet.Plane{U: x, V: z})   // cut a mesh by a plane
//	d, err := sheet.SectionDrawing(ctx, pieces, plane, opt)            // hatched, dimensioned
//	err = d.WriteSVG(w)                                                // or sheet.WritePDF(w, d...)
//	img, err := sheet.Picture(ctx, shown, sheet.View{})                // shaded 3/4 view
//
// Paper coordinates are mm from the top left corner of the sheet, x right and y down. Line kinds,
// scales and lettering heights follow ISO 128, ISO 5455 and ISO 3098; the layout of the title block
// is our own. The same input gives the same bytes.
package sheet
