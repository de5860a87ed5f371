//go:build unix

package solver

import "syscall"

// reserve takes addresses; the machine gives memory for what is touched.
func reserve(size uint64) ([]byte, error) {
	return syscall.Mmap(-1, 0, int(size), syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
}

func release(all []byte) {
	if err := syscall.Munmap(all); err != nil {
		panic("solver: memory cannot be given back: " + err.Error()) // it is none of ours any more
	}
}
