package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"io"
	"strings"

	"golang.org/x/net/html"
)

// form is the digests of all that a page says, tag by tag and text by text: a short one of each, which finds the place of an
// edit, and one over all.
type form struct {
	SHA256 string `json:"sha256"`
	// Marks are FNV-1a digests of 32 bits, big-endian, in base64.
	Marks string `json:"marks"`
}

// unit is one tag with its attributes, or one text; check.js lists them alike.
type unit struct{ text, where string }

// place says where in a page a unit is, from what came before it.
type place struct {
	section, title, tag, row string
	heads                    []string
	column                   int
	table                    bool
}

func (p *place) open(tag string, attributes []html.Attribute) {
	p.tag = tag
	switch tag {
	case "section":
		p.section, p.title, p.table = "", "", false
		for _, a := range attributes {
			if a.Key == "id" {
				p.section = a.Val
			}
		}
	case "table":
		p.heads, p.row, p.column, p.table = nil, "", -1, true
	case "tr":
		p.row, p.column = "", -1
	case "td", "th":
		p.column++
	case "p", "svg", "h2", "h3", "script":
		p.table = false
	}
}

func (p *place) text(text string) {
	if len(p.tag) == 2 && p.tag[0] == 'h' && p.tag[1] >= '1' && p.tag[1] <= '3' {
		p.title = text
	}
	if !p.table || p.column < 0 {
		return
	}
	if len(p.heads) == p.column && p.row == "" {
		p.heads = append(p.heads, text)
	}
	if p.column < 2 && p.row != "" {
		p.row += ", " + text
	} else if p.column < 2 {
		p.row = text
	}
}

func (p *place) where() string {
	out := p.section
	if p.title != "" {
		out += " (" + p.title + ")"
	}
	if !p.table || p.column < 0 {
		return fmt.Sprintf("%s, <%s>", out, p.tag)
	}
	column := fmt.Sprint(p.column + 1)
	if p.column < len(p.heads) {
		column = p.heads[p.column]
	}
	return fmt.Sprintf("%s, row “%s”, column “%s”", out, p.row, column)
}

// dissected is a page in its units, with the texts of the elements that have an id.
type dissected struct {
	units []unit
	texts map[string]string
	// attributes by id.
	attributes map[string]map[string]string
	rows       map[string]map[string]cell // of tables: by "row 3" or "session 3", and field
}

type cell struct{ text, value string }

// dissect reads a page.
func dissect(page []byte) (dissected, error) {
	d := dissected{texts: map[string]string{}, attributes: map[string]map[string]string{}, rows: map[string]map[string]cell{}}
	at := place{section: "the head of the page"}
	r := reading{dissected: &d, place: &at}
	z := html.NewTokenizer(bytes.NewReader(page))
	for {
		switch z.Next() {
		case html.ErrorToken:
			if err := z.Err(); err != io.EOF {
				return d, fmt.Errorf("read the page: %w", err)
			}
			return d, nil
		case html.StartTagToken, html.SelfClosingTagToken:
			r.open(z.Token())
		case html.EndTagToken:
			r.field, r.id = "", ""
		case html.CommentToken:
			d.units = append(d.units, unit{"<!--" + z.Token().Data, at.where()})
		case html.TextToken:
			r.text(z.Token().Data)
		}
	}
}

// reading is where in a page dissect is.
type reading struct {
	*dissected
	place          *place
	id, kind       string // of the element that is open, and the type of a script
	row, field     string
	value          string
	script, inForm bool
}

func (r *reading) open(t html.Token) {
	r.place.open(t.Data, t.Attr)
	text := "<" + t.Data
	own := map[string]string{}
	for _, a := range t.Attr {
		text += " " + a.Key + "=" + a.Val
		own[a.Key] = a.Val
	}
	r.units = append(r.units, unit{text, r.place.where()})
	r.id, r.kind, r.script, r.inForm = own["id"], own["type"], t.Data == "script", own["id"] == "form"
	if r.id != "" {
		r.attributes[r.id] = own
	}
	switch {
	case t.Data == "tr":
		r.row, r.field = "", ""
		for _, key := range []string{"row", "session"} {
			if n, ok := own["data-"+key]; ok {
				if r.row = key + " " + n; r.rows[r.row] == nil { // a row may go on in another table
					r.rows[r.row] = map[string]cell{}
				}
			}
		}
	case own["data-f"] != "":
		r.field, r.value = own["data-f"], own["data-v"]
		if r.row != "" {
			r.rows[r.row][r.field] = cell{value: r.value}
		}
	}
}

func (r *reading) text(data string) {
	if r.id != "" {
		r.texts[r.id] += data
	}
	if r.inForm {
		return
	}
	parts := []string{data}
	switch {
	case r.script && r.kind == "application/json":
		parts = fieldsOf(data)
	case r.script && r.kind != "":
		parts = strings.Split(data, "\n")
	}
	for _, p := range parts {
		if text := squeeze(p); text != "" {
			r.place.text(text)
			r.units = append(r.units, unit{text, r.place.where()})
			if r.row != "" && r.field != "" {
				r.rows[r.row][r.field] = cell{r.rows[r.row][r.field].text + text, r.value}
			}
		}
	}
}

// fieldsTogether is how many fields of JSON make one unit: few enough to find an edit, many enough for a large page to be checked soon.
const fieldsTogether = 4

// fieldsOf parts JSON after every few commas.
func fieldsOf(text string) []string {
	var out []string
	fields := strings.Split(text, ",")
	for i := 0; i < len(fields); i += fieldsTogether {
		out = append(out, strings.Join(fields[i:min(i+fieldsTogether, len(fields))], ","))
	}
	return out
}

// squeeze collapses white space.
func squeeze(text string) string {
	return strings.Join(strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" \t\n\r\f", r) }), " ")
}

// formOf takes the digests of a page.
func formOf(units []unit) form {
	marks, all := make([]byte, 0, 4*len(units)), sha256.New()
	for i, u := range units {
		marks = binary.BigEndian.AppendUint32(marks, markOf(u))
		if i > 0 {
			all.Write([]byte{'\n'})
		}
		io.WriteString(all, u.text)
	}
	return form{hex.EncodeToString(all.Sum(nil)), base64.StdEncoding.EncodeToString(marks)}
}

func markOf(u unit) uint32 {
	h := fnv.New32a()
	io.WriteString(h, u.text)
	return h.Sum32()
}

// formPlace takes the place of a page's form until it is known.
const formPlace = `{"sha256":"","marks":""}`

// sealForm puts the digests of a page into it.
func sealForm(page []byte) ([]byte, error) {
	d, err := dissect(page)
	if err != nil {
		return nil, err
	}
	text, err := json.Marshal(formOf(d.units))
	if err != nil {
		return nil, fmt.Errorf("encode the digests: %w", err)
	}
	return bytes.Replace(page, []byte(formPlace), text, 1), nil
}

// checkForm names each place of a page that is not as it was written.
func (d dissected) checkForm() []string {
	var f form
	if err := json.Unmarshal([]byte(d.texts["form"]), &f); err != nil {
		return []string{"edited: the digests of the page cannot be read"}
	}
	marks, err := base64.StdEncoding.DecodeString(f.Marks)
	if err != nil || len(marks)%4 != 0 {
		return []string{"edited: the digests of the page cannot be read"}
	}
	was, is := make([]uint32, len(marks)/4), make([]uint32, len(d.units))
	for i := range was {
		was[i] = binary.BigEndian.Uint32(marks[4*i:])
	}
	for i, u := range d.units {
		is[i] = markOf(u)
	}
	faults := d.compareMarks(was, is)
	if len(faults) == 0 && formOf(d.units).SHA256 != f.SHA256 {
		return []string{"edited: the digest of the page"}
	}
	return faults
}

func (d dissected) compareMarks(was, is []uint32) []string {
	first, last := 0, 0
	for first < len(was) && first < len(is) && was[first] == is[first] {
		first++
	}
	for last < len(was)-first && last < len(is)-first && was[len(was)-1-last] == is[len(is)-1-last] {
		last++
	}
	var faults []string
	for i := first; i < len(is)-last; i++ {
		u := d.units[i]
		switch {
		case len(is) != len(was):
			faults = append(faults, fmt.Sprintf("added or edited: %s: “%s”", u.where, shorten(u.text)))
		case is[i] != was[i]:
			faults = append(faults, fmt.Sprintf("edited: %s: now “%s”", u.where, shorten(u.text)))
		}
	}
	if len(is) < len(was) {
		where := "the beginning"
		if first > 0 {
			where = d.units[first-1].where
		}
		faults = append(faults, fmt.Sprintf("removed: %d texts or tags, after %s", len(was)-len(is), where))
	}
	return faults
}

// maxQuoted is how many characters of an edited place are quoted: a row of the numbers with the longest warnings is shorter. check.js
// quotes as many.
const maxQuoted = 1000

func shorten(text string) string {
	if r := []rune(text); len(r) > maxQuoted {
		return string(r[:maxQuoted]) + "…"
	}
	return text
}
