//go:build !unix

package solver

import "errors"

func reserve(uint64) ([]byte, error) { return nil, errors.ErrUnsupported }

func release([]byte) {}
