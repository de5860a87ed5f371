package app_test

import (
	"flag"
	"fmt"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/internal/app"
)

// crash is what a test throws where the power fails.
type crash struct{}

// Whatever the server says and whenever the power fails, any number of times:
// no letter reaches a mailbox twice unless a person let it be sent again, and
// none is lost without being shown.
func TestNoLetterIsSentTwiceAndNoneIsLostWheneverThePowerFails(t *testing.T) {
	p := newPost(t)
	was := flag.Lookup("rapid.checks").Value.String()
	t.Cleanup(func() { p.must(flag.Set("rapid.checks", was)) })
	p.must(flag.Set("rapid.checks", strconv.Itoa(max(25/slower, 2)))) // a base on a disk is no quicker
	round := 0
	rapid.Check(t, func(r *rapid.T) {
		round++
		p.Now = p.Now.Add(time.Hour)
		in := map[string]int{}       // how often a letter lies in a mailbox
		again := map[string]int{}    // how often a person let it be sent again
		settled := map[string]bool{} // by a person
		p.mail.answer = func(l app.Letter) app.Delivery {
			switch rapid.SampledFrom([]string{"taken", "taken", "later", "refused", "down", "unsure, taken", "unsure, lost", "fails before", "fails after"}).Draw(r, "server") {
			case "later":
				return app.Delivery{Fate: app.Later}
			case "down":
				return app.Delivery{Fate: app.Later, Down: true}
			case "refused":
				return app.Delivery{Fate: app.Refused}
			case "unsure, lost":
				return app.Delivery{Fate: app.Unsure}
			case "fails before":
				panic(crash{})
			case "unsure, taken":
				in[l.ID]++
				return app.Delivery{Fate: app.Unsure}
			case "fails after":
				in[l.ID]++
				panic(crash{})
			}
			in[l.ID]++
			return app.Delivery{Fate: app.Sent}
		}
		_, err := p.App.Prepare(p.Ctx(), p.tomek, p.g, app.Preparing{Kind: app.FreeWord, Subject: "Round", Body: fmt.Sprint("Round ", round), Only: []rankwright.HouseholdID{"h1", "h4", "h5"}})
		p.must(err)
		var mine []string
		for _, m := range p.view().Drafts {
			mine = append(mine, m.ID)
		}
		if len(mine) != 4 {
			r.Fatalf("%d drafts", len(mine))
		}
		p.agree()
		step := func() {
			defer func() {
				switch x := recover(); x.(type) {
				case nil:
				case crash:
					p.restart()
				default:
					panic(x)
				}
			}()
			rest, err := p.App.StepPost(p.Ctx())
			p.must(err)
			p.Now = p.Now.Add(rest)
		}
		for range rapid.IntRange(1, 14).Draw(r, "steps") {
			switch rapid.SampledFrom([]string{"step", "step", "step", "restart", "later", "decide"}).Draw(r, "what") {
			case "step":
				step()
			case "restart":
				p.restart()
			case "later":
				p.Now = p.Now.Add(time.Duration(rapid.IntRange(1, 400).Draw(r, "minutes")) * time.Minute)
			case "decide":
				for _, m := range p.view().Messages {
					if !slices.Contains(mine, m.ID) || m.State != app.MayBeGone && m.State != app.WasRefused {
						continue
					}
					what := rapid.SampledFrom([]string{app.SendAgain, app.TakeAsGone}).Draw(r, "person")
					if m.State == app.WasRefused {
						what = app.SendAgain
					}
					p.must(p.App.Decide(p.Ctx(), p.tomek, p.g, m.ID, what))
					if what == app.SendAgain {
						again[m.ID]++
					} else {
						settled[m.ID] = true
					}
					break
				}
			}
		}
		p.restart()
		p.mail.answer = func(app.Letter) app.Delivery { return app.Delivery{Fate: app.Refused} }
		step() // what stood as being sent is unsure from here on
		seen := 0
		for _, m := range p.view().Messages {
			if !slices.Contains(mine, m.ID) {
				continue
			}
			seen++
			if in[m.ID] > 1+again[m.ID] {
				r.Fatalf("%s lies in the mailbox %d times, and a person let it go %d times again", m.ID, in[m.ID], again[m.ID])
			}
			switch m.State {
			case app.WasSent:
				if in[m.ID] == 0 && !settled[m.ID] {
					r.Fatalf("%s counts as sent and lies in no mailbox", m.ID)
				}
			case app.InQueue, app.WasRefused, app.Dropped:
				if in[m.ID] > again[m.ID] {
					r.Fatalf("%s lies in the mailbox and counts as %s", m.ID, m.State)
				}
			case app.MayBeGone:
			default:
				r.Fatalf("%s stands as %s, which nobody would look at", m.ID, m.State)
			}
		}
		if seen != len(mine) {
			r.Fatalf("%d letters of %d are left", seen, len(mine))
		}
		_, err = p.App.DropWaiting(p.Ctx(), p.tomek, p.g)
		p.must(err)
	})
}
