package scoring_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/scoring"
)

const goodMark = `{"id":"m1","device":"pad","seq":1,"clock":4,"entry":"e1","requirement":"kick","examiner":"ann","try":2,"value":"12.5","at":1760000000000,"note":"left"}`

func batch(marks ...string) string { return `{"v":1,"marks":[` + strings.Join(marks, ",") + `]}` }

func TestAMarkTravels(t *testing.T) {
	marks, err := scoring.Decode([]byte(batch(goodMark)))
	if err != nil {
		t.Fatal(err)
	}
	want := scoring.Mark{ID: "m1", Device: "pad", Seq: 1, Clock: 4, Entry: "e1", Requirement: "kick", Examiner: "ann", Try: 2,
		Value: scoring.Value{Sort: scoring.Number, Num: rankwright.One * 25 / 2}, At: 1760000000000, Note: "left"}
	if len(marks) != 1 || marks[0] != want {
		t.Fatalf("got %+v", marks)
	}
	out, err := scoring.Encode(marks)
	if err != nil || string(out) != batch(goodMark) {
		t.Errorf("written back as %s, %v", out, err)
	}
}

func TestWhatIsNotABatchIsRefused(t *testing.T) {
	with := func(old, new string) string { return batch(strings.Replace(goodMark, old, new, 1)) }
	for _, c := range []struct{ name, text, says string }{
		{"nothing", "", "it is not JSON, or it ends too soon"},
		{"cut off", batch(goodMark)[:60], "it is not JSON, or it ends too soon"},
		{"a list", "[]", "there should be {, not []"},
		{"no version", `{"marks":[]}`, `the key "v" is missing`},
		{"no marks", `{"v":1}`, `the key "marks" is missing`},
		{"another version", `{"v":2,"marks":[]}`, "marks travel in version 1 here, not 2"},
		{"marks that are null", `{"v":1,"marks":null}`, "marks: there should be [, not null"},
		{"a key twice", `{"v":1,"v":1,"marks":[]}`, `the key "v" stands there twice`},
		{"a key in other letters", `{"V":1,"marks":[]}`, `there is no key "V"`},
		{"a key too many", with(`"note"`, `"colour"`), `mark 1: there is no key "colour"`},
		{"a time that is text", `{"v":1,"sent":"now","marks":[]}`, "sent: it should be a whole number from 0 to 9007199254740991, not \"now\""},
		{"a version that is text", `{"v":"1","marks":[]}`, "v: it should be a whole number from 1 to 9007199254740991, not \"1\""},
		{"a key too many beside a later version", `{"v":3,"heat":1}`, "marks travel in version 1 here, not 3"},
		{"a mark that is a list", `{"v":1,"marks":[[]]}`, "mark 1: there should be {, not []"},
		{"a key twice in a mark", with(`"try":2`, `"try":2,"try":3`), `mark 1: the key "try" stands there twice`},
		{"a value that is long", with(`"12.5"`, "["+strings.Repeat("0,", 99)+"0]"), "mark 1: value: it should be a number such as \"2\" or \"12.5\", yes, no, abstain or x, not [" + strings.Repeat("0,", 19) + "0…"},
		{"more after the end", batch(goodMark) + "{}", "something follows its end"},
		{"rubbish after the end", batch(goodMark) + "x", "something follows its end"},
		{"the second mark", batch(goodMark, "{}"), `mark 2: the key "id" is missing`},
		{"no value", with(`"value":"12.5",`, ""), `mark 1: the key "value" is missing`},
		{"a value that is a number", with(`"12.5"`, "12.5"), "mark 1: value: it should be a number such as \"2\" or \"12.5\", yes, no, abstain or x, not 12.5"},
		{"a value with four decimals", with("12.5", "12.1234"), "mark 1: value: it should be a number such as \"2\" or \"12.5\", yes, no, abstain or x, not \"12.1234\""},
		{"a negative value", with("12.5", "-1"), "mark 1: value: it should be a number such as \"2\" or \"12.5\", yes, no, abstain or x, not \"-1\""},
		{"a signed value", with("12.5", "+1"), "mark 1: value: it should be a number such as \"2\" or \"12.5\", yes, no, abstain or x, not \"+1\""},
		{"an empty value", with("12.5", ""), "mark 1: value: it should be a number such as \"2\" or \"12.5\", yes, no, abstain or x, not \"\""},
		{"no id", with(`"m1"`, `""`), "mark 1: id: it should be text of 1 to 64 bytes on one line"},
		{"an id that is too long", with("m1", strings.Repeat("m", 65)), "mark 1: id: it should be text of 1 to 64 bytes on one line"},
		{"an id with a line end", with("m1", `m\n1`), "mark 1: id: it should be text of 1 to 64 bytes on one line"},
		{"half a character in an id", with("m1", `m\ud800`), "mark 1: id: it should be text of 1 to 64 bytes on one line"},
		{"an id that is a number", with(`"m1"`, "1"), "mark 1: id: it should be text of 1 to 64 bytes on one line"},
		{"number 0", with(`"seq":1`, `"seq":0`), "mark 1: seq: it should be a whole number from 1 to 9007199254740991, not 0"},
		{"a number with decimals", with(`"seq":1`, `"seq":1.5`), "mark 1: seq: it should be a whole number from 1 to 9007199254740991, not 1.5"},
		{"a number in another form", with(`"seq":1`, `"seq":1e0`), "mark 1: seq: it should be a whole number from 1 to 9007199254740991, not 1e0"},
		{"a number in quotes", with(`"seq":1`, `"seq":"1"`), "mark 1: seq: it should be a whole number from 1 to 9007199254740991, not \"1\""},
		{"a number that a script cannot hold", with(`"clock":4`, `"clock":9007199254740992`), "mark 1: clock: it should be a whole number from 1 to 9007199254740991, not 9007199254740992"},
		{"a time before 1970", with(`"at":1760000000000`, `"at":-1`), "mark 1: at: it should be a whole number from 0 to 9007199254740991, not -1"},
		{"try 0", with(`"try":2`, `"try":0`), "mark 1: try: it should be a whole number from 1 to 20, not 0"},
		{"try 21", with(`"try":2`, `"try":21`), "mark 1: try: it should be a whole number from 1 to 20, not 21"},
		{"a note that is too long", with("left", strings.Repeat("ä", 301)), "mark 1: note: it should be text of at most 300 characters"},
		{"a note that is a list", with(`"left"`, "[]"), "mark 1: note: it should be text of at most 300 characters"},
		{"bytes that are no text", batch(goodMark) + "\xff", "it is not UTF-8"},
	} {
		t.Run(c.name, func(t *testing.T) {
			marks, err := scoring.Decode([]byte(c.text))
			want := "the batch of marks cannot be read: " + c.says + "; load the page again; marks that are kept on the device stay there"
			if err == nil || err.Error() != want || marks != nil {
				t.Errorf("got %v, %v\nwant %s", marks, err, want)
			}
			if rankwright.KindOf(err) != rankwright.Invalid {
				t.Errorf("kind %v", rankwright.KindOf(err))
			}
		})
	}
}

// D-12: what cannot be read of one mark is that mark's fault alone, and its
// device and number are told, so that it counts as one that came.
func TestAMarkThatCannotBeReadStopsNoOther(t *testing.T) {
	bad := strings.NewReplacer(`"m1"`, `"m2"`, `"seq":1`, `"seq":2`, `"12.5"`, `"loud"`, `"e1"`, `["e1"]`).Replace(goodMark)
	third := strings.NewReplacer(`"m1"`, `"m3"`, `"seq":1`, `"seq":3`).Replace(goodMark)
	marks, sent, err := scoring.ReadBatch([]byte(`{ "sent" : 1760000000100 , "v" : 1 , "marks" : [ ` + goodMark + ` , ` + bad + `, 7, {}, ` + third + ` ] } `))
	if err != nil || sent != 1760000000100 || len(marks) != 5 {
		t.Fatalf("%d marks, sent at %d, %v", len(marks), sent, err)
	}
	for i, want := range []struct {
		id, device string
		seq        int64
		why        string
	}{
		{"m1", "pad", 1, ""},
		{"m2", "pad", 2, "entry: it should be text of 1 to 64 bytes on one line"},
		{"", "", 0, "there should be {, not 7"},
		{"", "", 0, `the key "id" is missing`},
		{"m3", "pad", 3, ""},
	} {
		if m := marks[i]; string(m.ID) != want.id || string(m.Device) != want.device || m.Seq != want.seq || m.Why != want.why {
			t.Errorf("mark %d: %+v, want %+v", i, m, want)
		}
	}
}

func TestABatchHasLimits(t *testing.T) {
	at := func(n int) []byte {
		return []byte(batch(strings.Split(strings.Repeat(goodMark+";", n-1)+goodMark, ";")...))
	}
	if marks, err := scoring.Decode(at(scoring.WireMarks)); err != nil || len(marks) != scoring.WireMarks {
		t.Errorf("a full batch: %d marks, %v", len(marks), err)
	}
	for name, data := range map[string][]byte{
		"a mark too many": at(scoring.WireMarks + 1),
		"a byte too many": append([]byte(batch()), bytes.Repeat([]byte(" "), scoring.WireBytes)...),
	} {
		if _, err := scoring.Decode(data); rankwright.KindOf(err) != rankwright.TooLarge {
			t.Errorf("%s: %v", name, err)
		}
	}
	long := strings.Replace(goodMark, "left", strings.Repeat("ä", 300), 1)
	if _, err := scoring.Decode([]byte(batch(long))); err != nil {
		t.Errorf("a note of 300 characters: %v", err)
	}
}

func TestMarksComeBackAsTheyWent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		marks := draws(t)
		for i := range marks {
			marks[i].ID = rankwright.MarkID(fmt.Sprint("m", i))
			marks[i].Clock++
			marks[i].Try = max(1, marks[i].Try)
		}
		data, err := scoring.Encode(marks)
		if err != nil {
			t.Fatal(err)
		}
		got, err := scoring.Decode(data)
		if err != nil || len(got) != len(marks) {
			t.Fatalf("%v from %s", err, data)
		}
		for i := range got {
			if got[i] != marks[i] {
				t.Fatalf("%+v came back as %+v", marks[i], got[i])
			}
		}
	})
}

// Whatever is read can be written, and reads the same again.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(batch(goodMark)))
	f.Add([]byte(batch()))
	f.Add([]byte(batch(strings.Replace(goodMark, "12.5", "abstain", 1), goodMark)))
	f.Add([]byte(`{"v":1,"marks":[{}]}`))
	f.Add([]byte(`{"marks":[],"v":1e0}`))
	f.Add([]byte(`{"v":1,"sent":7,"marks":[{"id":"\u00e4","seq":2,"seq":[{"]":"}"}]},0,"\"]",[],` + goodMark + `]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		one, _, whole := scoring.ReadBatch(data)
		// encoding/json counts the marks too, where each key is written once.
		var shape struct{ Marks []json.RawMessage }
		if whole == nil && (json.Unmarshal(data, &shape) != nil || len(shape.Marks) != len(one)) {
			t.Fatalf("%d marks were read, and %d are there", len(one), len(shape.Marks))
		}
		for i := range one {
			if alone, err := scoring.Decode(slices.Concat([]byte(`{"v":1,"marks":[`), shape.Marks[i], []byte(`]}`))); (err == nil) != (one[i].Why == "") || err == nil && alone[0] != one[i].Mark {
				t.Fatalf("mark %d is %+v among others, and %+v, %v alone", i, one[i], alone, err)
			}
		}
		marks, err := scoring.Decode(data)
		if err != nil {
			if k := rankwright.KindOf(err); k != rankwright.Invalid && k != rankwright.TooLarge {
				t.Fatalf("refused as %v: %v", k, err)
			}
			return
		}
		out, err := scoring.Encode(marks)
		if err != nil {
			t.Fatal(err)
		}
		again, err := scoring.Decode(out)
		if err != nil {
			t.Fatalf("%v from %s", err, out)
		}
		for i := range marks {
			if again[i] != marks[i] {
				t.Fatalf("%+v became %+v", marks[i], again[i])
			}
		}
	})
}
