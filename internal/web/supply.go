package web

import (
	"bytes"
	"encoding/csv"
	"errors"
	"net/url"
	"strconv"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
	"rankwright/promote"
	"rankwright/roster"
)

var supplyRoutes = []Route{
	{Pattern: "GET /supply", Act: app.KeepStock, Do: supplyShow},
	{Pattern: "GET /supply/order.csv", Act: app.KeepStock, Do: supplyCSV},
	{Pattern: "GET /supply/order.pdf", Act: app.KeepStock, Do: supplyPDF},
	{Pattern: "POST /supply/rules", Act: app.KeepStock, Do: supplyRules},
	{Pattern: "POST /supply/stock", Act: app.KeepStock, Do: supplyStock},
	{Pattern: "POST /supply/ordered", Act: app.KeepStock, Do: supplyOrdered},
	{Pattern: "GET /gradings/{id}/hand-out", Act: app.KeepStock, Do: handOut},
	{Pattern: "POST /gradings/{id}/hand-out", Act: app.KeepStock, Do: handOutDo},
}

type supplyPage struct {
	Frame
	View     app.SupplyView
	Lines    []supplyLine
	Order    int
	Lacks    []supplyLack
	Gradings []look.Option
	Of       string // the gradings that are counted, as an address has them
	Ids      []string
	Stock    []supplyStockRow
	Item     look.Field
	Size     look.Field
	Count    look.Field
	Rules    []look.Field
	Empty    string
	Seen     string
	Again    bool // the rules are asked once more
}

type supplyLine struct {
	promote.OrderLine
	Belt look.Belt
	For  string
}

type supplyLack struct{ Name, Href, What, Says string }

type supplyStockRow struct {
	promote.Stock
	What string
}

func articleWords(a promote.Article) string {
	if a.Kind == promote.Shirt {
		return "Shirt, size " + a.Size
	}
	return upperFirst(a.Item) + " belt, " + a.Size + " cm"
}

func upperFirst(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

func gradingsOf(q *Query) (out []rankwright.GradingID) {
	_ = q.FormValue("of") // reads the form
	for _, id := range q.Form["of"] {
		out = append(out, rankwright.GradingID(id))
	}
	return out
}

func supplyShow(q *Query) (Answer, error) {
	v, err := q.App().Supply(q.Context(), q.Who, gradingsOf(q))
	if err != nil {
		return nil, err
	}
	return Page("supply", supplyPageOf(v)), nil
}

func supplyPageOf(v app.SupplyView) *supplyPage {
	p := &supplyPage{View: v, Seen: v.Seen}
	p.Title, p.Styles = "Belts and shirts", []string{look.AssetPath() + "papers.css"}
	belts, shirts := 0, 0
	for _, l := range v.Lines {
		x := supplyLine{OrderLine: l, Belt: look.Belt{Name: articleWords(l.Article)}, For: listed(l.For)}
		for _, item := range v.Items {
			if l.Kind == promote.Belt && item.Item == l.Item {
				x.Belt.Colour, x.Belt.Tip, x.Belt.TipColour = item.Belt.Hex, item.Belt.Tip, item.Belt.TipHex
			}
		}
		p.Lines = append(p.Lines, x)
		p.Order += l.Order
		if l.Kind == promote.Belt {
			belts += l.Order
		} else {
			shirts += l.Order
		}
	}
	switch {
	case p.Order > 0 && shirts > 0:
		p.Lead = "To order: " + plural(belts, "belt", "belts") + " and " + plural(shirts, "shirt", "shirts") + "."
	case p.Order > 0:
		p.Lead = "To order: " + plural(belts, "belt", "belts") + "."
	case len(p.Lines) > 0:
		p.Lead = "Everything that is needed is there or on its way."
	default:
		p.Lead = "Nobody needs a belt or a shirt now."
	}
	address := url.Values{}
	for _, g := range v.Gradings {
		p.Gradings = append(p.Gradings, look.Option{Value: string(g.ID), Text: g.Title + ", " + g.Day.Long() + ": " + plural(g.People, "child", "children"), Selected: g.Counted})
		if g.Counted {
			address.Add("of", string(g.ID))
			p.Ids = append(p.Ids, string(g.ID))
		}
	}
	p.Of = address.Encode()
	for _, l := range v.Lacks {
		x := supplyLack{Name: l.Name, Href: rosterHref(l.Student) + "/sizes", What: "shirt size", Says: "nothing on record"}
		if l.Kind == promote.Belt {
			x.What = "length of the " + l.Item + " belt"
		}
		if l.Size != "" {
			x.Says = "“" + l.Size + "” is no length; say below what your maker means by it"
		}
		p.Lacks = append(p.Lacks, x)
	}
	for _, s := range v.Stock {
		p.Stock = append(p.Stock, supplyStockRow{s, articleWords(s.Article)})
	}
	p.Item = look.Field{Name: "item", Label: "What", Kind: "select"}
	for _, item := range v.Items {
		p.Item.Options = append(p.Item.Options, look.Option{Value: "belt:" + item.Item, Text: upperFirst(item.Item) + " belt"})
	}
	p.Item.Options = append(p.Item.Options, look.Option{Value: "shirt:", Text: "Shirt"})
	p.Size = look.Field{Name: "size", Label: "Size", Hint: "A belt by its centimetres, such as 220; a shirt such as 128 or M.", Required: true, MaxLength: 30, Size: "short"}
	p.Count = look.Field{Name: "shelf", Label: "On the shelf", Type: "number", InputMode: "numeric", Min: "0", Max: "100000", Required: true, Size: "short"}
	r := v.Rules
	p.Rules = []look.Field{
		{Name: "taped", Label: "Tips are tape that we put on", Hint: "Belts are then ordered by their colour alone, and a rank that only adds a tip needs no belt.", Kind: "check", Checked: r.Taped},
		{Name: "shirts", Label: "A shirt is given", Kind: "radios", Options: []look.Option{{Value: "", Text: "With no rank", Selected: r.Shirts == ""}, {Value: "first", Text: "With the first rank", Selected: r.Shirts == "first"}, {Value: "each", Text: "With every rank", Selected: r.Shirts == "each"}}},
		{Name: "spare_belts", Label: "Spare belts of each that is needed", Type: "number", InputMode: "numeric", Min: "0", Max: "100", Size: "short", Value: itoa(r.SpareBelts)},
		{Name: "spare_shirts", Label: "Spare shirts of each that is needed", Type: "number", InputMode: "numeric", Min: "0", Max: "100", Size: "short", Value: itoa(r.SpareShirts)},
		{Name: "numbers", Label: "Your maker’s belt numbers in centimetres", Hint: "One to a line, such as 3 = 260. Makers count differently; what the roster says in centimetres needs no number.", Kind: "textarea", Rows: 6, Value: r.Numbers, Optional: true, MaxLength: 1000},
	}
	return p
}

func supplyRules(q *Query) (Answer, error) {
	r := app.SupplyRules{Taped: q.FormValue("taped") != "", Shirts: q.FormValue("shirts"), Numbers: strings.ReplaceAll(q.FormValue("numbers"), "\r\n", "\n")}
	var bad error
	for _, x := range []struct {
		name string
		to   *int
	}{{"spare_shirts", &r.SpareShirts}, {"spare_belts", &r.SpareBelts}} { // of two mistakes the upper one is told
		n, err := strconv.Atoi(strings.TrimSpace(q.FormValue(x.name)))
		if err != nil && q.FormValue(x.name) != "" {
			f := rankwright.Faultf(rankwright.Invalid, "bad_number", "write a number from 0 to 100", "%q is no number of spares", q.FormValue(x.name))
			f.Where.Name = x.name
			bad = f
		}
		*x.to = n
	}
	if bad == nil {
		bad = q.App().SetSupply(q.Context(), q.Who, r)
	}
	if bad != nil {
		var f *rankwright.Fault
		if !errors.As(bad, &f) || f.Kind != rankwright.Invalid {
			return nil, bad
		}
		v, err := q.App().Supply(q.Context(), q.Who, nil)
		if err != nil {
			return nil, err
		}
		p := supplyPageOf(v)
		p.Again = true
		say, do := told(f)
		for i := range p.Rules {
			x := &p.Rules[i]
			x.Value, x.Checked = q.FormValue(x.Name), x.Kind == "check" && r.Taped
			for k := range x.Options {
				x.Options[k].Selected = x.Options[k].Value == r.Shirts
			}
			if x.Name == f.Where.Name || f.Where.Name == "spare" && x.Name == "spare_belts" {
				x.Error = say + " " + do
			}
		}
		p.Errors = look.ErrorsOf(p.Rules...)
		return Again("supply", p), nil
	}
	q.Flash("good", "From now on it is counted like this.")
	return To("/supply"), nil
}

// supplyArticle reads which article a form is about.
func supplyArticle(q *Query) promote.Article {
	kind, item, _ := strings.Cut(q.FormValue("item"), ":")
	return promote.Article{Kind: promote.Kind(kind), Item: item, Size: strings.TrimSpace(q.FormValue("size"))}
}

// count reads a number of things; a word is refused, and not read as none.
func count(q *Query, name string) (int, error) {
	n, err := strconv.Atoi(strings.TrimSpace(q.FormValue(name)))
	if err != nil {
		return 0, rankwright.Faultf(rankwright.Invalid, "bad_number", "go back and write a whole number", "%q is no number of things", q.FormValue(name))
	}
	return n, nil
}

// supplyStock counts the shelf: a new article, other numbers, or what came.
func supplyStock(q *Query) (Answer, error) {
	was, now := promote.Stock{Article: supplyArticle(q)}, promote.Stock{Article: supplyArticle(q)}
	var err error
	if q.FormValue("do") == "came" {
		n, err := count(q, "came")
		if err != nil {
			return nil, err
		}
		if err := q.App().Arrived(q.Context(), q.Who, now.Article, n); err != nil {
			return nil, err
		}
		q.Flash("good", articleWords(now.Article)+": "+itoa(n)+" more on the shelf.")
		return To("/supply#on-shelf"), nil
	}
	if now.Shelf, err = count(q, "shelf"); err != nil {
		return nil, err
	}
	for name, to := range map[string]*int{"coming": &now.Coming, "was_shelf": &was.Shelf, "was_coming": &was.Coming} {
		if q.FormValue(name) == "" {
			continue
		}
		if *to, err = count(q, name); err != nil {
			return nil, err
		}
	}
	if err := q.App().CountStock(q.Context(), q.Who, was, now); err != nil {
		return nil, err
	}
	q.Flash("good", "Counted.")
	return To("/supply#on-shelf"), nil
}

func supplyOrdered(q *Query) (Answer, error) {
	if err := q.App().Ordered(q.Context(), q.Who, gradingsOf(q), q.FormValue("seen")); err != nil {
		return nil, err
	}
	q.Flash("good", "Written down: what was to be ordered is on its way now, and is not ordered again.")
	return To("/supply"), nil
}

func supplyCSV(q *Query) (Answer, error) {
	v, err := q.App().Supply(q.Context(), q.Who, gradingsOf(q))
	if err != nil {
		return nil, err
	}
	b := bytes.NewBufferString("\ufeff") // so that spreadsheet programs keep accents
	w := csv.NewWriter(b)
	rows := [][]string{{"kind", "item", "size", "needed", "spare", "on_shelf", "on_its_way", "to_order"}}
	for _, l := range v.Lines {
		rows = append(rows, []string{string(l.Kind), roster.CSVCell(l.Item), roster.CSVCell(l.Size), itoa(l.Need), itoa(l.Spare), itoa(l.Shelf), itoa(l.Coming), itoa(l.Order)})
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, err
	}
	return File{Name: "belts-and-shirts-" + q.App().Today().String() + ".csv", Type: "text/csv; charset=utf-8", Data: b.Bytes()}, nil
}

func supplyPDF(q *Query) (Answer, error) {
	v, err := q.App().Supply(q.Context(), q.Who, gradingsOf(q))
	if err != nil {
		return nil, err
	}
	t := paper.Table{Title: "Belts and shirts to order", Subtitle: q.App().Today().Long(), Footer: q.School.Name,
		Columns: []paper.Column{{Head: "What", Share: 5, Bold: true}, {Head: "Needed", Right: true}, {Head: "Spare", Right: true}, {Head: "On the shelf", Right: true}, {Head: "On its way", Right: true}, {Head: "To order", Right: true, Bold: true}}}
	for _, l := range v.Lines {
		t.Rows = append(t.Rows, []string{articleWords(l.Article), itoa(l.Need), itoa(l.Spare), itoa(l.Shelf), itoa(l.Coming), itoa(l.Order)})
	}
	if n := len(v.Lacks); n > 0 {
		var names []string
		for _, l := range v.Lacks {
			names = append(names, l.Name+" ("+string(l.Kind)+")")
		}
		t.Note = "Not counted, because no size is known: " + listed(names) + "."
	}
	var b bytes.Buffer
	if err := paper.WriteTable(&b, t, paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "belts-and-shirts-" + q.App().Today().String() + ".pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

type handOutPage struct {
	Frame
	At    string
	Rows  []handOutRow
	Left  int // things that can be handed out now
	None  *look.Empty
	Short []string // what is not on the shelf
}

type handOutRow struct {
	Entry, Name string
	Belt        look.Belt
	Things      []handOutThing
	Lacks       []string
	Open        bool
}

type handOutThing struct {
	Kind, What, Note string
	Handed           bool
}

func handOut(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	list, err := q.App().HandingOut(q.Context(), q.Who, v.ID)
	if err != nil {
		return nil, err
	}
	p := &handOutPage{At: "/gradings/" + string(v.ID) + "/hand-out"}
	p.Title, p.Back, p.Styles = "Hand out", gradingBack(v.ID, v.Title), []string{look.AssetPath() + "papers.css"}
	if len(list) == 0 {
		p.None = &look.Empty{Title: "Nothing to hand out yet", Text: "Belts and shirts are handed out when the grading is signed and somebody is promoted.", Action: &look.Link{Href: "/supply", Text: "What is to be ordered"}}
		return Page("hand-out", p), nil
	}
	for _, h := range list {
		r := handOutRow{Entry: string(h.Entry), Name: h.Name, Belt: look.Belt{Name: h.Rank, Colour: h.Belt.Hex, Tip: h.Belt.Tip, TipColour: h.Belt.TipHex}}
		for _, x := range h.Articles {
			t := handOutThing{Kind: string(x.Kind), What: articleWords(x.Article), Handed: x.Handed}
			switch {
			case x.Handed:
				t.Note = when(int64(x.At))
			case x.Counted && x.Shelf == 0:
				t.Note = "none on the shelf"
			}
			if !x.Handed {
				r.Open = true
				p.Left++
			}
			r.Things = append(r.Things, t)
		}
		for _, l := range h.Lacks {
			r.Lacks = append(r.Lacks, string(l.Kind)+": no size on record")
		}
		p.Rows = append(p.Rows, r)
	}
	p.Lead = "In the order in which the names are read out."
	return Page("hand-out", p), nil
}

func handOutDo(q *Query) (Answer, error) {
	id, entry, kind := rankwright.GradingID(q.PathValue("id")), rankwright.EntryID(q.FormValue("entry")), promote.Kind(q.FormValue("kind"))
	back := "/gradings/" + url.PathEscape(string(id)) + "/hand-out"
	if q.FormValue("do") == "back" {
		if err := q.App().TakeBack(q.Context(), q.Who, id, entry, kind); err != nil {
			return nil, err
		}
		q.Flash("good", "Taken back.")
		return To(back), nil
	}
	if entry == "" && q.FormValue("do") != "all" {
		return nil, rankwright.Faultf(rankwright.Invalid, "no_entry", "go back to the list", "the form does not say whose it is")
	}
	n, err := q.App().HandOut(q.Context(), q.Who, id, entry, kind)
	if err != nil {
		return nil, err
	}
	q.Flash("good", plural(n, "thing", "things")+" handed out.")
	return To(back), nil
}
