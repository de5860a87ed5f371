package scoring_test

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"rankwright"
	"rankwright/scoring"
)

type vector struct {
	Why          string                     `json:"why"`
	Requirements []rankwright.RequirementID `json:"requirements"`
	Batch        json.RawMessage            `json:"batch"`
	Card         vectorCard                 `json:"card"`
}

type vectorCard struct {
	Seen      map[rankwright.RequirementID][]vectorSeen `json:"seen"`
	Strays    []rankwright.MarkID                       `json:"strays"`
	Corrected int                                       `json:"corrected"`
}

type vectorSeen struct {
	Examiner rankwright.ExaminerID `json:"examiner"`
	Try      int                   `json:"try"`
	Value    string                `json:"value"`
	Mark     rankwright.MarkID     `json:"mark"`
	Note     string                `json:"note"`

	Corrected bool `json:"corrected"`
}

// The vectors come out as written, in any order of the marks.
func TestVectors(t *testing.T) {
	files, _ := filepath.Glob("testdata/vectors/*.json")
	if len(files) < 12 {
		t.Fatalf("only %d vectors", len(files))
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var v vector
			if err := json.Unmarshal(data, &v); err != nil {
				t.Fatal(err)
			}
			marks, err := scoring.Decode(v.Batch)
			if err != nil {
				t.Fatal(err)
			}
			ix := scoring.Index{}
			for i, id := range v.Requirements {
				ix[id] = i
			}
			for range 20 {
				card := ix.Fold(marks)
				got := vectorCard{map[rankwright.RequirementID][]vectorSeen{}, []rankwright.MarkID{}, card.Corrected}
				for i, seen := range card.Seen {
					for _, s := range seen {
						id := v.Requirements[i]
						got.Seen[id] = append(got.Seen[id], vectorSeen{s.Examiner, s.Try, s.Value.String(), s.Mark, s.Note, s.Corrected})
					}
				}
				for _, m := range card.Strays {
					got.Strays = append(got.Strays, m.ID)
				}
				if !reflect.DeepEqual(got, v.Card) {
					t.Fatalf("%s: got %+v, want %+v", v.Why, got, v.Card)
				}
				rand.Shuffle(len(marks), func(i, j int) { marks[i], marks[j] = marks[j], marks[i] })
			}
		})
	}
}
