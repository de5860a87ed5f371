package rankwright_test

import (
	"testing"

	"rankwright"
)

// The distances are those of the usual textbook pairs: kitten to sitting is
// three edits, and so beyond a slip (Levenshtein 1966; the pair is common in
// textbooks).
func TestASlipOfTheFingerIsAtMostTwoEditsAway(t *testing.T) {
	for _, tt := range []struct{ typed, want string }{
		{"child", "child"}, {"Child", "child"}, {"chld", "child"}, {"hcild", "child"}, {"childrn", "children"},
		{"kitten", ""}, {"sittin", "sitting"}, {"", ""}, {"a", "ab"}, {"день", ""},
	} {
		if got := rankwright.Nearest(tt.typed, []string{"child", "children", "sitting", "ab"}); got != tt.want {
			t.Errorf("nearest to %q is %q, not %q", tt.typed, got, tt.want)
		}
	}
}
