// Package bundle carries files of a job between machines: as one stream with the same bytes for the same
// files, whatever their dates and owners. It is a tar archive (POSIX.1-2001, pax) under gzip (RFC 1952).
//
//	err := bundle.Write(w, os.DirFS(folder), []string{"job.toml", "ring.stl"})
//	names, err := bundle.Read(r, dir, bundle.Limits{})
//
// What comes in is not trusted: Read makes plain files below one folder, nothing else, and only so many.
package bundle
