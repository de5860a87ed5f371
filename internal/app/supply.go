package app

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/promote"
	"rankwright/syllabus"
)

// SupplyRules is how the school gives out belts and shirts, as it was written
// down.
type SupplyRules struct {
	Taped                   bool
	Shirts                  string
	Numbers                 string // a maker's numbers, one to a line
	SpareBelts, SpareShirts int
}

const keySupply = "supply"

// rules are the rules as promote reads them.
func (r SupplyRules) rules() (promote.Supply, rankwright.Faults) {
	numbers, faults := promote.ParseBeltNumbers(r.Numbers)
	return promote.Supply{Taped: r.Taped, Shirts: promote.ShirtRule(r.Shirts), Lengths: numbers, SpareBelts: r.SpareBelts, SpareShirts: r.SpareShirts}, faults
}

func supplyRules(tx *store.Tx) (r SupplyRules, s promote.Supply, err error) {
	text, ok, err := tx.Setting(keySupply)
	if err == nil && ok {
		err = json.Unmarshal([]byte(text), &r)
	}
	s, _ = r.rules()
	return r, s, err
}

// most is the largest number that is kept of anything here.
const most = 100000

// SetSupply says how belts and shirts are given out from now on.
func (a *App) SetSupply(ctx context.Context, who Actor, r SupplyRules) error {
	switch promote.ShirtRule(r.Shirts) {
	case promote.NoShirts, promote.FirstShirt, promote.EachShirt:
	default:
		return invalid("shirts", "choose one of the list", "there is no rule %q for shirts", r.Shirts)
	}
	if r.SpareBelts < 0 || r.SpareBelts > 100 || r.SpareShirts < 0 || r.SpareShirts > 100 {
		return invalid("spare", "write a number from 0 to 100", "there cannot be so many spares of each")
	}
	if _, faults := r.rules(); len(faults) > 0 {
		return invalid("numbers", faults[0].Do, "line %d: %s", faults[0].Where.Line, faults[0].Say)
	}
	return a.do(ctx, who, KeepStock, on{kind: "supply"}, func(tx *store.Tx) (any, error) {
		text, err := json.Marshal(r)
		if err != nil {
			return nil, err
		}
		return r, tx.SetSetting(keySupply, string(text))
	})
}

// SupplyView is what is to be ordered and what lies on the shelf.
type SupplyView struct {
	Rules    SupplyRules
	Gradings []SupplyGrading
	Lines    []promote.OrderLine
	Lacks    []promote.Lack
	Stock    []promote.Stock
	Items    []SupplyItem // the belts of all ladders, from the lowest rank
	// Seen names this state of the order, so that nothing is said to be
	// ordered that nobody saw.
	Seen string
}

// SupplyItem is a belt of a ladder.
type SupplyItem struct {
	Item string
	Belt syllabus.Belt
}

// SupplyGrading is a grading that may be counted for the order.
type SupplyGrading struct {
	Grading
	Counted bool
	People  int // who still get something, or may
}

// countedFor is how long after its day a signed grading is counted for the
// order where nobody chose.
const countedFor = 60

// Supply says what is to be ordered for these gradings, or for the ones that
// matter now where none are named.
func (a *App) Supply(ctx context.Context, who Actor, of []rankwright.GradingID) (v SupplyView, err error) {
	err = a.see(ctx, who, KeepStock, on{kind: "supply"}, func(tx *store.Tx) error {
		v, err = a.supply(tx, of)
		return err
	})
	return v, err
}

func (a *App) supply(tx *store.Tx, of []rankwright.GradingID) (v SupplyView, err error) {
	var rules promote.Supply
	if v.Rules, rules, err = supplyRules(tx); err != nil {
		return v, err
	}
	gradings, err := tx.Gradings()
	if err != nil {
		return v, err
	}
	slices.SortStableFunc(gradings, func(x, y store.Grading) int { return int(y.Day) - int(x.Day) })
	ledger, err := tx.Ledger()
	if err != nil {
		return v, err
	}
	var all []promote.Recipient
	for _, g := range gradings {
		x := SupplyGrading{Grading: g, Counted: State(g.State) != Closed || g.Day+countedFor >= a.Today()}
		if len(of) > 0 {
			x.Counted = slices.Contains(of, g.ID)
		} else if !x.Counted {
			continue // long over, and nobody asks
		}
		list, err := a.recipients(tx, g, ledger)
		if err != nil {
			return v, err
		}
		for _, r := range list {
			if things, lacks := rules.Things(r); len(things)+len(lacks) > 0 {
				x.People++
			}
		}
		if x.Counted {
			all = append(all, list...)
		}
		if x.People > 0 || slices.Contains(of, g.ID) {
			v.Gradings = append(v.Gradings, x)
		}
	}
	if v.Stock, err = stockOf(tx); err != nil {
		return v, err
	}
	v.Lines, v.Lacks = rules.ToOrder(all, v.Stock)
	ladders, err := a.current(tx)
	if err != nil {
		return v, err
	}
	for _, s := range ladders {
		for i := range s.Ranks {
			item := rules.BeltItem(&s.Ranks[i])
			if !slices.ContainsFunc(v.Items, func(x SupplyItem) bool { return x.Item == item }) {
				b := s.Ranks[i].Belt
				if r := v.Rules; r.Taped {
					b.Tip, b.TipHex = "", ""
				}
				v.Items = append(v.Items, SupplyItem{item, b})
			}
		}
	}
	seen := ""
	for _, l := range v.Lines {
		seen += fmt.Sprintf("%q %d\n", l.Article, l.Order)
	}
	v.Seen = hashOf(seen)[:16]
	return v, nil
}

func stockOf(tx *store.Tx) (out []promote.Stock, err error) {
	lines, err := tx.Stock()
	for _, l := range lines {
		out = append(out, promote.Stock{Article: promote.Article{Kind: promote.Kind(l.Kind), Item: l.Item, Size: l.Size}, Shelf: l.Shelf, Coming: l.Coming})
	}
	slices.SortStableFunc(out, func(x, y promote.Stock) int {
		if x.Kind != y.Kind || x.Item != y.Item {
			return 0 // the base has them in order
		}
		return promote.CompareSizes(x.Size, y.Size)
	})
	return out, err
}

// recipients lists who gets a rank at a grading, or may: before it is signed
// everybody who is entered, afterwards those who were promoted and those whose
// promotion waits.
func (a *App) recipients(tx *store.Tx, g store.Grading, ledger []store.LedgerLine) (out []promote.Recipient, err error) {
	v, err := a.grading(tx, g.ID)
	if err != nil {
		return nil, err
	}
	gets := map[rankwright.EntryID]bool{}
	line := map[rankwright.EntryID]int64{}
	closed := State(g.State) == Closed
	for _, l := range ledger {
		if l.Grading == g.ID {
			gets[l.Entry], line[l.Entry] = true, l.No
		}
	}
	if closed {
		decisions, err := tx.Decisions(g.ID)
		if err != nil {
			return nil, err
		}
		for _, d := range decisions {
			if d.Outcome == syllabus.Held.String() {
				gets[d.Entry] = true
			}
		}
	}
	handed, err := tx.HandedOuts(g.ID)
	if err != nil {
		return nil, err
	}
	for _, e := range v.Entries {
		if e.Erased || closed && !gets[e.Entry.ID] {
			continue
		}
		next, place := v.Syllabus.Rank(e.Rank)
		if next == nil {
			continue
		}
		r := promote.Recipient{Entry: e.Entry.ID, Student: e.Student.ID, Name: e.Student.FullName(), Next: next, Lowest: place == 0, BeltSize: e.Student.BeltSize, ShirtSize: e.Student.ShirtSize}
		if e.Student.Ladder == v.Syllabus.Ladder && line[e.Entry.ID] == 0 {
			r.Held, _ = v.Syllabus.Rank(e.Student.Rank)
		} else if place > 0 {
			r.Held = &v.Syllabus.Ranks[place-1] // from which one is raised, as a rule
			for _, l := range ledger {
				if k, _ := v.Syllabus.Rank(l.Rank); l.Student == e.Student.ID && l.No < line[e.Entry.ID] && k != nil {
					r.Held = k
				}
			}
		}
		for _, h := range handed {
			if h.Entry == e.Entry.ID {
				r.Has = append(r.Has, promote.Kind(h.Kind))
			}
		}
		out = append(out, r)
	}
	return out, nil
}

func stockLine(a promote.Article, shelf, coming int) store.StockLine {
	return store.StockLine{Kind: string(a.Kind), Item: a.Item, Size: a.Size, Shelf: shelf, Coming: coming}
}

func lookUp(stock []promote.Stock, a promote.Article) promote.Stock {
	for _, x := range stock {
		if x.Article == a {
			return x
		}
	}
	return promote.Stock{Article: a}
}

// CountStock writes how many of an article lie on the shelf and are on their
// way. was is what whoever counted saw before: where it is something else by
// now, nothing is written.
func (a *App) CountStock(ctx context.Context, who Actor, was, now promote.Stock) error {
	x := now.Article
	switch {
	case x.Kind == promote.Belt && x.Item == "":
		return invalid("item", "say which belt it is, such as amber", "the belt has no colour")
	case x.Kind == promote.Belt:
		cm, ok := promote.BeltNumbers{}.Length(x.Size)
		if !ok {
			return invalid("size", "write the length in centimetres, such as 220", "%q is no length of a belt", x.Size)
		}
		x.Size = fmt.Sprint(cm)
	case x.Kind == promote.Shirt:
		if x.Item, x.Size = "", promote.ShirtSize(x.Size); x.Size == "" {
			return invalid("size", "write its size", "the shirt has no size")
		}
	default:
		return invalid("kind", "choose belt or shirt", "there is no such thing as a %q here", x.Kind)
	}
	if now.Shelf < 0 || now.Coming < 0 || now.Shelf > most || now.Coming > most || len(x.Item) > 200 || len(x.Size) > 60 {
		return invalid("shelf", "write a number from 0 to 100000", "there cannot be so many")
	}
	return a.do(ctx, who, KeepStock, on{kind: "stock", id: x.String()}, func(tx *store.Tx) (any, error) {
		stock, err := stockOf(tx)
		if err != nil {
			return nil, err
		}
		if is := lookUp(stock, x); is.Shelf != was.Shelf || is.Coming != was.Coming {
			return nil, rankwright.Faultf(rankwright.Conflict, "counted", "look at the number that stands there now, and count again",
				"meanwhile %s was counted or handed out by somebody else: %d on the shelf, %d on their way", x, is.Shelf, is.Coming)
		}
		return map[string]int{"shelf": now.Shelf, "coming": now.Coming}, tx.PutStock(stockLine(x, now.Shelf, now.Coming))
	})
}

// Ordered says that what is to be ordered for these gradings was ordered: from
// now on it is on its way, so that it is not ordered twice.
func (a *App) Ordered(ctx context.Context, who Actor, of []rankwright.GradingID, seen string) error {
	return a.do(ctx, who, KeepStock, on{kind: "supply"}, func(tx *store.Tx) (any, error) {
		v, err := a.supply(tx, of)
		if err != nil {
			return nil, err
		}
		if v.Seen != seen {
			return nil, rankwright.Faultf(rankwright.Conflict, "order_changed", "look at it again, and order what is new", "the order has changed since you looked at it, and nothing was written down")
		}
		n := 0
		for _, l := range v.Lines {
			if l.Order == 0 {
				continue
			}
			n += l.Order
			if err := tx.PutStock(stockLine(l.Article, l.Shelf, l.Coming+l.Order)); err != nil {
				return nil, err
			}
		}
		return map[string]int{"ordered": n}, nil
	})
}

// Arrived says that so many of an article came: they lie on the shelf now.
func (a *App) Arrived(ctx context.Context, who Actor, x promote.Article, n int) error {
	return a.do(ctx, who, KeepStock, on{kind: "stock", id: x.String()}, func(tx *store.Tx) (any, error) {
		stock, err := stockOf(tx)
		if err != nil {
			return nil, err
		}
		is := lookUp(stock, x)
		if n < 1 || n > is.Coming {
			return nil, invalid("arrived", "count them, and write the number on the shelf instead", "%d came of %s, and %d are on their way", n, x, is.Coming)
		}
		return map[string]int{"arrived": n}, tx.PutStock(stockLine(x, is.Shelf+n, is.Coming-n))
	})
}

// Handing is what one promoted child gets, and what it has.
type Handing struct {
	Entry    rankwright.EntryID
	Name     string
	Rank     string
	Belt     syllabus.Belt
	Articles []HandedArticle
	Lacks    []promote.Lack
}

// HandedArticle is one thing of a child. On the shelf there are so many.
type HandedArticle struct {
	promote.Article
	Handed bool
	At     store.Moment
	Shelf  int
	// Counted says that the school counts its shelf at all.
	Counted bool
}

// HandingOut lists what is handed out at a signed grading, in the order in
// which names are read out.
func (a *App) HandingOut(ctx context.Context, who Actor, id rankwright.GradingID) (out []Handing, err error) {
	err = a.see(ctx, who, KeepStock, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		out, err = a.handingOut(tx, id)
		return err
	})
	return out, err
}

func (a *App) handingOut(tx *store.Tx, id rankwright.GradingID) ([]Handing, error) {
	awards, err := a.awards(tx, id, "")
	if err != nil || len(awards) == 0 {
		return nil, err
	}
	_, rules, err := supplyRules(tx)
	if err != nil {
		return nil, err
	}
	stock, err := stockOf(tx)
	if err != nil {
		return nil, err
	}
	ledger, err := tx.Ledger()
	if err != nil {
		return nil, err
	}
	list, err := a.recipients(tx, awards[0].Grading, ledger)
	if err != nil {
		return nil, err
	}
	handed, err := tx.HandedOuts(id)
	if err != nil {
		return nil, err
	}
	var out []Handing
	for _, w := range awards {
		h := Handing{Entry: w.Line.Entry, Name: w.Name, Rank: w.Line.RankName, Belt: w.Belt}
		for _, x := range handed {
			if x.Entry == h.Entry {
				h.Articles = append(h.Articles, HandedArticle{Article: promote.Article{Kind: promote.Kind(x.Kind), Item: x.Item, Size: x.Size}, Handed: true, At: x.At})
			}
		}
		if at := slices.IndexFunc(list, func(r promote.Recipient) bool { return r.Entry == h.Entry }); at >= 0 {
			var things []promote.Article
			things, h.Lacks = rules.Things(list[at])
			for _, t := range things {
				h.Articles = append(h.Articles, HandedArticle{Article: t, Shelf: lookUp(stock, t).Shelf, Counted: len(stock) > 0})
			}
		}
		out = append(out, h)
	}
	return out, nil
}

// HandOut writes down that a child was given its belt or shirt, or with kind
// "" both, and counts it off the shelf where one lies there. Nothing is handed
// out twice. With entry "" everybody of the grading is given what they lack.
func (a *App) HandOut(ctx context.Context, who Actor, id rankwright.GradingID, entry rankwright.EntryID, kind promote.Kind) (n int, err error) {
	err = a.do(ctx, who, KeepStock, on{kind: "grading", id: string(id)}, func(tx *store.Tx) (any, error) {
		n = 0
		list, err := a.handingOut(tx, id)
		if err != nil {
			return nil, err
		}
		for _, h := range list {
			if entry != "" && h.Entry != entry {
				continue
			}
			for _, x := range h.Articles {
				if x.Handed || kind != "" && x.Kind != kind {
					continue
				}
				stock, err := stockOf(tx) // anew: two children may need the last one
				if err != nil {
					return nil, err
				}
				is := lookUp(stock, x.Article)
				if is.Shelf > 0 {
					if err := tx.PutStock(stockLine(x.Article, is.Shelf-1, is.Coming)); err != nil {
						return nil, err
					}
				}
				if err := tx.AddHandedOut(store.HandedOut{Entry: h.Entry, Kind: string(x.Kind), Item: x.Item, Size: x.Size, Taken: is.Shelf > 0, By: who.ID, At: a.moment()}); err != nil {
					return nil, err
				}
				n++
			}
		}
		if n == 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "nothing_to_hand", "reload the page", "there is nothing left to hand out here, or its size is not known")
		}
		return map[string]any{"entry": entry, "handed out": n}, nil
	})
	return n, err
}

// TakeBack undoes a handing out: what came from the shelf lies there again.
func (a *App) TakeBack(ctx context.Context, who Actor, id rankwright.GradingID, entry rankwright.EntryID, kind promote.Kind) error {
	return a.do(ctx, who, KeepStock, on{kind: "grading", id: string(id)}, func(tx *store.Tx) (any, error) {
		if e, err := tx.Entry(entry); err != nil || e.Grading != id {
			return nil, cmp.Or(err, error(rankwright.Faultf(rankwright.NotFound, "no_entry", "go back to the grading", "there is no such entry")))
		}
		list, err := tx.HandedOutOf(entry)
		if err != nil {
			return nil, err
		}
		at := slices.IndexFunc(list, func(h store.HandedOut) bool { return h.Kind == string(kind) })
		if at < 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "not_handed", "reload the page", "this was not handed out, or was taken back already")
		}
		h := list[at]
		if h.Taken {
			stock, err := stockOf(tx)
			if err != nil {
				return nil, err
			}
			x := promote.Article{Kind: kind, Item: h.Item, Size: h.Size}
			is := lookUp(stock, x)
			if err := tx.PutStock(stockLine(x, is.Shelf+1, is.Coming)); err != nil {
				return nil, err
			}
		}
		_, err = tx.DropHandedOut(entry, string(kind))
		return map[string]any{"entry": entry, "taken back": h.Kind}, err
	})
}

// Things lists what each entry of a grading gets with the rank, or may get,
// as far as the sizes are known, for the labels on the bags; what was handed
// out already is left out.
func (a *App) Things(ctx context.Context, who Actor, id rankwright.GradingID) (out map[rankwright.EntryID][]promote.Article, err error) {
	out = map[rankwright.EntryID][]promote.Article{}
	err = a.see(ctx, who, PrintPapers, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		g, err := tx.Grading(id)
		if err != nil {
			return err
		}
		ledger, err := tx.Ledger()
		if err != nil {
			return err
		}
		_, rules, err := supplyRules(tx)
		if err != nil {
			return err
		}
		list, err := a.recipients(tx, g, ledger)
		for _, r := range list {
			out[r.Entry], _ = rules.Things(r)
		}
		return err
	})
	return out, err
}
