package main

import (
	"bufio"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// BenchmarkColdStart is from the start of the built binary to the last byte of
// the first page, over a connection of its own; it also tells the binary's
// size.
func BenchmarkColdStart(b *testing.B) {
	bin := filepath.Join(b.TempDir(), "rankwright")
	build := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", bin, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	info, err := os.Stat(bin)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("new folder", func(b *testing.B) {
		for n := 0; b.Loop(); n++ {
			coldStart(b, bin, filepath.Join(b.TempDir(), "school"))
		}
		b.ReportMetric(float64(info.Size()), "bytes")
	})
	b.Run("folder that is there", func(b *testing.B) {
		dir := b.TempDir()
		coldStart(b, bin, dir)
		for b.Loop() {
			coldStart(b, bin, dir)
		}
	})
}

func coldStart(b *testing.B, bin, dir string) {
	c := exec.Command(bin, "serve", "--data", dir, "--addr", "127.0.0.1:0")
	out, err := c.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		b.Fatal(err)
	}
	client := &http.Client{Transport: &http.Transport{}, Timeout: 10 * time.Second}
	r, err := client.Get(strings.TrimSpace(strings.TrimPrefix(line, "The pages are at ")) + "/sign-in")
	if err != nil {
		b.Fatal(err)
	}
	if _, err := io.Copy(io.Discard, r.Body); err != nil || r.StatusCode != http.StatusOK {
		b.Fatal(r.Status, err)
	}
	r.Body.Close()

	b.StopTimer()
	if err := c.Process.Signal(os.Interrupt); err != nil {
		b.Fatal(err)
	}
	if err := c.Wait(); err != nil {
		b.Fatal(err)
	}
	client.CloseIdleConnections()
	b.StartTimer()
}
