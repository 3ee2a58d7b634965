// Package atomicfile writes a file whole or not at all. The content goes to a new file in the same
// folder, is flushed to the disk, and takes the name of the old one in a single step; after that the
// folder is flushed too. Whatever fails on the way, the old file is as it was, and no piece of the
// new one is left behind.
//
//	err := atomicfile.Write("out/upper.3mf", func(w io.Writer) error {
//		return threemf.Write(w, model)
//	})
//
// FS is the seam through which tests inject faults; atomicfile/faultfs is such an injector.
package atomicfile
