package faults

import (
	"io"
	"os/exec"
	"strings"
	"testing"
)

// A second server on the same folder is refused in words; commands that read
// or back up go on; and a server that was killed leaves nothing in the way.
func TestTwoServersOnOneFolder(t *testing.T) {
	s := newSchool(t, "", 4)
	first := serve(t, s.dir)
	second, out, err := start(t, s.dir)
	must(t, err)
	said, err := io.ReadAll(out)
	must(t, err)
	<-second.dead
	if code := second.cmd.ProcessState.ExitCode(); code != 1 || !strings.Contains(second.errs.String(), "another program serves the folder "+s.dir+" already; use the pages of that program, or stop it first") {
		t.Errorf("the second server ends with %d and says %q %q", code, said, second.errs)
	}
	path, err := built()
	must(t, err)
	copied := t.TempDir() + "/copy.db"
	for _, args := range [][]string{{"verify", "--data", s.dir}, {"backup", "--data", s.dir, "-o", copied}} {
		if out, err := exec.Command(path, args...).CombinedOutput(); err != nil {
			t.Errorf("beside a server, %v fails: %v\n%s", args, err, out)
		}
	}
	if status, _, err := first.get(first.signIn(s.examiners[0]), "/gradings/"+string(s.grading)); err != nil || status != 200 {
		t.Errorf("the first server answers with %d, %v", status, err)
	}
	first.kill()
	serve(t, s.dir).stop()
}
