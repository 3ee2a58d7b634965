//go:build !linux && !darwin

package job

import "errors"

// exchange is not known here; the caller takes two steps instead.
func exchange(a, b string) error { return errors.ErrUnsupported }
