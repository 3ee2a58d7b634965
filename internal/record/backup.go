package record

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"mouldwright/internal/atomicfile"
)

// A backup is a zip archive that holds the same from either database, so that records can move from
// one to the other:
//
//	manifest.json   what is in it, with the SHA-256 checksum and size of every other entry
//	tables.jsonl    every row of every table, one JSON array a line under a line that names the table
//	photos/SHA256   the photos
const (
	manifestName  = "manifest.json"
	tablesName    = "tables.jsonl"
	photosPrefix  = "photos/"
	backupFormat  = 1
	maxTableBytes = 4 << 30 // of tables.jsonl, unpacked: far above a workshop's records
)

// Manifest says what a backup holds.
type Manifest struct {
	Format   int                  `json:"format"`
	MadeAt   time.Time            `json:"made_at"`
	Database string               `json:"database"`
	Events   int64                `json:"events"`
	LastHash string               `json:"last_hash"`
	Rows     map[string]int       `json:"rows"`
	Files    map[string]FileStamp `json:"files"`
	NotFound []string             `json:"photos_not_found,omitempty"` // photos of the records whose file is gone or damaged
}

// FileStamp is the size and checksum of an entry.
type FileStamp struct {
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Backup writes all records and photos, as they are at one moment, to a file, while others go on
// writing. The records are verified first: a damaged set is not backed up as if it were good. The file
// appears whole or not at all.
func (s *Store) Backup(ctx context.Context, path string) (Manifest, error) {
	var m Manifest
	err := s.Read(ctx, func(r *Reader) error {
		if err := r.Verify(); err != nil {
			return err
		}
		return atomicfile.Write(path, func(w io.Writer) error {
			var err error
			m, err = s.writeBackup(r, w)
			return err
		})
	})
	if err != nil {
		return Manifest{}, fmt.Errorf("back the records up to %s: %w", path, err)
	}
	// Read back what the disk has: a backup that cannot be read is none.
	if _, err := CheckBackup(ctx, path); err != nil {
		return Manifest{}, fmt.Errorf("back the records up: %w", err)
	}
	return m, nil
}

func (s *Store) writeBackup(r *Reader, w io.Writer) (Manifest, error) {
	m := Manifest{Format: backupFormat, MadeAt: s.now().UTC().Truncate(time.Second), Database: s.dialect.name, Rows: map[string]int{}, Files: map[string]FileStamp{}}
	var err error
	if m.Events, m.LastHash, err = r.lastEvent(); err != nil {
		return m, err
	}
	z := zip.NewWriter(w)
	put := func(name string, fill func(io.Writer) error) error {
		e, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: m.MadeAt})
		if err != nil {
			return err
		}
		sum := sha256.New()
		n := &counted{w: io.MultiWriter(e, sum)}
		if err := fill(n); err != nil {
			return err
		}
		m.Files[name] = FileStamp{n.n, hex.EncodeToString(sum.Sum(nil))}
		return nil
	}
	if err := put(tablesName, func(w io.Writer) error { return r.dump(w, m.Rows) }); err != nil {
		return m, err
	}
	photos, err := list[Photo](r, "")
	if err != nil {
		return m, err
	}
	for _, p := range photos {
		if _, twice := m.Files[photosPrefix+p.SHA256]; twice {
			continue
		}
		b, err := s.PhotoBytes(p)
		if err != nil {
			m.NotFound = append(m.NotFound, p.SHA256)
			continue
		}
		if err := put(photosPrefix+p.SHA256, func(w io.Writer) error { _, err := w.Write(b); return err }); err != nil {
			return m, err
		}
	}
	e, err := z.CreateHeader(&zip.FileHeader{Name: manifestName, Method: zip.Deflate, Modified: m.MadeAt})
	if err != nil {
		return m, err
	}
	enc := json.NewEncoder(e)
	enc.SetIndent("", "  ")
	if err := enc.Encode(m); err != nil {
		return m, err
	}
	return m, z.Close()
}

type counted struct {
	w io.Writer
	n int64
}

func (c *counted) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// ReplaceOptions say what Restore may do to records that are there.
type ReplaceOptions struct {
	// KeepAt is where the records that are there are backed up first. Without it only an empty set of
	// records takes a backup.
	KeepAt string
}

// Restore puts the records of a backup in the place of those that are there. The backup is verified
// whole before anything changes, and everything changes in one transaction: whatever fails, the old
// records stay as they were.
func (s *Store) Restore(ctx context.Context, path string, opt ReplaceOptions) (Manifest, error) {
	b, err := readBackup(ctx, path)
	if err != nil {
		return Manifest{}, err
	}
	defer b.close()
	if err := s.makeRoom(ctx, opt); err != nil {
		return Manifest{}, fmt.Errorf("restore %s: %w", path, err)
	}
	if err := b.photos(ctx, s); err != nil {
		return Manifest{}, fmt.Errorf("restore %s: %w", path, err)
	}
	err = s.inTx(ctx, func(q querier) error {
		if err := empty(ctx, q); err != nil {
			return err
		}
		if err := b.load(ctx, q); err != nil {
			return err
		}
		return (&Reader{ctx: ctx, q: q}).Verify()
	})
	if err != nil {
		return Manifest{}, fmt.Errorf("restore %s; the records stay as they were: %w", path, err)
	}
	return b.manifest, nil
}

// ErrRecordsThere says that a restore would replace records, and that no place to keep them was given.
var ErrRecordsThere = errors.New("there are records already")

// makeRoom backs up what is there, or refuses to replace it.
func (s *Store) makeRoom(ctx context.Context, opt ReplaceOptions) error {
	var seq int64
	err := s.Read(ctx, func(r *Reader) (err error) { seq, _, err = r.lastEvent(); return err })
	if err != nil || seq == 0 {
		return err
	}
	if opt.KeepAt == "" {
		return fmt.Errorf("%w (%d events); say where to keep a backup of them, or restore to a new place", ErrRecordsThere, seq)
	}
	if _, err := os.Stat(opt.KeepAt); err == nil {
		return fmt.Errorf("%s exists; name a new file to keep the present records in", opt.KeepAt)
	}
	_, err = s.Backup(ctx, opt.KeepAt)
	return err
}

// CheckBackup verifies that a backup is whole: every file is there and matches its checksum. Errors wrap
// ErrDamaged. Restore goes on to replay the events, before it commits.
func CheckBackup(ctx context.Context, path string) (Manifest, error) {
	b, err := readBackup(ctx, path)
	if err != nil {
		return Manifest{}, err
	}
	b.close()
	return b.manifest, nil
}

// backup is an open backup whose checksums were found right.
type backup struct {
	path     string
	manifest Manifest
	files    map[string]*zip.File
	close    func() error
}

func readBackup(ctx context.Context, path string) (*backup, error) {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("backup %s: %s: %w", path, fmt.Sprintf(format, args...), ErrDamaged)
	}
	z, err := zip.OpenReader(path)
	if err != nil {
		if os.IsNotExist(err) || os.IsPermission(err) {
			return nil, fmt.Errorf("backup %s: %w", path, err)
		}
		return nil, bad("it is no backup, or it is cut short (%v)", err)
	}
	b := &backup{path: path, files: map[string]*zip.File{}, close: z.Close}
	for _, f := range z.File {
		b.files[f.Name] = f
	}
	if err := b.verify(ctx, bad); err != nil {
		z.Close()
		return nil, err
	}
	return b, nil
}

// verify checks the manifest, every file against it, and that no file is more or less.
func (b *backup) verify(ctx context.Context, bad func(string, ...any) error) error {
	mf := b.files[manifestName]
	if mf == nil {
		return bad("it has no manifest")
	}
	r, err := mf.Open()
	if err != nil {
		return bad("its manifest cannot be read (%v)", err)
	}
	defer r.Close()
	if err := json.NewDecoder(io.LimitReader(r, 64<<20)).Decode(&b.manifest); err != nil {
		return bad("its manifest cannot be read (%v)", err)
	}
	if b.manifest.Format > backupFormat {
		return fmt.Errorf("backup %s: format %d, this program knows up to %d: %w", b.path, b.manifest.Format, backupFormat, ErrNewer)
	}
	if len(b.files) != len(b.manifest.Files)+1 {
		return bad("it holds %d files, its manifest lists %d", len(b.files)-1, len(b.manifest.Files))
	}
	names := make([]string, 0, len(b.manifest.Files))
	for name := range b.manifest.Files {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return err
		}
		stamp := b.manifest.Files[name]
		f := b.files[name]
		if f == nil {
			return bad("%s is missing", name)
		}
		if sum := strings.TrimPrefix(name, photosPrefix); sum != name && sum != stamp.SHA256 {
			return bad("%s does not match its name", name)
		}
		if err := checkEntry(f, stamp); err != nil {
			return bad("%s: %v", name, err)
		}
	}
	if b.manifest.Files[tablesName] == (FileStamp{}) {
		return bad("it holds no tables")
	}
	return nil
}

func checkEntry(f *zip.File, stamp FileStamp) error {
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, io.LimitReader(r, min(stamp.Bytes, maxTableBytes)+1))
	switch {
	case err != nil:
		return err
	case n != stamp.Bytes:
		return fmt.Errorf("it holds %d bytes, the manifest says %d", n, stamp.Bytes)
	case hex.EncodeToString(sum.Sum(nil)) != stamp.SHA256:
		return fmt.Errorf("it does not match its checksum")
	}
	return nil
}

// photos copies the photos into the store's folder. They are named by their bytes, so it changes
// nothing that is there.
func (b *backup) photos(ctx context.Context, s *Store) error {
	names := make([]string, 0, len(b.files))
	for name := range b.files {
		if strings.HasPrefix(name, photosPrefix) {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	if len(names) > 0 && s.files == "" {
		return fmt.Errorf("it holds %d photos: %w", len(names), ErrNoFiles)
	}
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return err
		}
		sum := strings.TrimPrefix(name, photosPrefix)
		if !validSum(sum) {
			return fmt.Errorf("%s is no checksum: %w", filepath.Base(name), ErrDamaged)
		}
		r, err := b.files[name].Open()
		if err != nil {
			return err
		}
		data, err := io.ReadAll(io.LimitReader(r, maxPhotoBytes+1))
		r.Close()
		if err != nil {
			return err
		}
		if err := s.keepFile(sum, data); err != nil {
			return err
		}
	}
	return nil
}
