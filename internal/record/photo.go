package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"mouldwright/internal/atomicfile"
)

// maxPhotoBytes bounds a photo: phones make 3 to 20 MB.
const maxPhotoBytes = 64 << 20

var photoTypes = []string{"image/jpeg", "image/png", "image/webp", "image/gif"}

// ErrNoFiles says that there is no folder for photos.
var ErrNoFiles = errors.New("no folder for photos; open the records with one (FilesDir)")

func validSum(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == sha256.Size && s == strings.ToLower(s)
}

// KeepPhoto stores the bytes of a photo as a file named by their checksum, flushed to the disk, and
// returns the record to add for it. Storing the same bytes again changes nothing.
func (s *Store) KeepPhoto(ctx context.Context, r io.Reader) (Photo, error) {
	if s.files == "" {
		return Photo{}, fmt.Errorf("keep the photo: %w", ErrNoFiles)
	}
	b, err := io.ReadAll(io.LimitReader(r, maxPhotoBytes+1))
	if err != nil {
		return Photo{}, fmt.Errorf("keep the photo: %w", err)
	}
	if err := ctx.Err(); err != nil {
		return Photo{}, err
	}
	kind := http.DetectContentType(b)
	switch {
	case len(b) > maxPhotoBytes:
		return Photo{}, &InputError{"photo", "", "file", fmt.Sprintf("it is over %d MB", maxPhotoBytes>>20), "save it smaller"}
	case !strings.Contains(strings.Join(photoTypes, " "), kind):
		return Photo{}, &InputError{"photo", "", "file", fmt.Sprintf("it is no photo (%s)", kind), "use JPEG, PNG, WebP or GIF"}
	}
	sum := sha256.Sum256(b)
	p := Photo{SHA256: hex.EncodeToString(sum[:]), Bytes: int64(len(b)), MediaType: kind}
	return p, s.keepFile(p.SHA256, b)
}

func (s *Store) photoPath(sum string) string { return filepath.Join(s.files, sum[:2], sum) }

// keepFile writes the bytes of a photo unless they are there and sound.
func (s *Store) keepFile(sum string, b []byte) error {
	path := s.photoPath(sum)
	if have, err := os.ReadFile(path); err == nil && bytes.Equal(have, b) {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("keep the photo: %w", err)
	}
	if err := atomicfile.Write(path, func(w io.Writer) error { _, err := w.Write(b); return err }); err != nil {
		return fmt.Errorf("keep the photo: %w", err)
	}
	// The folder's own entry must be on the disk before a row refers to the file.
	if err := (atomicfile.OS{}).SyncDir(s.files); err != nil {
		return fmt.Errorf("keep the photo: %w", err)
	}
	return nil
}

// PhotoBytes reads a photo and checks it against its checksum.
func (s *Store) PhotoBytes(p Photo) ([]byte, error) {
	if s.files == "" {
		return nil, fmt.Errorf("read photo %s: %w", p.ID, ErrNoFiles)
	}
	if !validSum(p.SHA256) {
		return nil, fmt.Errorf("read photo %s: %q is no checksum: %w", p.ID, p.SHA256, ErrDamaged)
	}
	b, err := os.ReadFile(s.photoPath(p.SHA256))
	if err != nil {
		return nil, fmt.Errorf("read photo %s: %w", p.ID, err)
	}
	if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != p.SHA256 {
		return nil, fmt.Errorf("photo %s (%s) does not match its checksum: %w", p.ID, s.photoPath(p.SHA256), ErrDamaged)
	}
	return b, nil
}
