package registerfile

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"

	"go.yaml.in/yaml/v3"

	"clogwise/internal/plant"
)

// The form of a register in YAML: what belongs to a thing stands inside it.
type (
	yamlFile struct {
		Sites []yamlSite   `yaml:"sites,omitempty"`
		Items []plant.Item `yaml:"items,omitempty"`
	}
	yamlSite struct {
		plant.Site `yaml:",inline"`
		AHUs       []yamlAHU `yaml:"ahus,omitempty"`
	}
	yamlAHU struct {
		plant.AHU `yaml:",inline"`
		Banks     []plant.Bank `yaml:"banks,omitempty"`
	}
)

func (im *Import) addYAML(name string, raw []byte) {
	var doc yaml.Node
	dec := yaml.NewDecoder(bytes.NewReader(raw))
	if err := dec.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			im.fault(Fault{File: name, Text: "empty; write a list of sites"})
			return
		}
		im.fault(yamlFault(name, err.Error()))
		return
	}
	if err := dec.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		im.fault(Fault{File: name, Text: "more than one document; put everything into one, without ---"})
	}
	checkNode(name, &doc, im.fault)
	var f yamlFile
	if err := doc.Decode(&f); err != nil {
		im.decodeFaults(name, err)
		return
	}
	im.place(name, f, linesOf(&doc))
}

// decodeFaults passes on what the decoder says beyond checkNode's finds, such
// as a key given twice.
func (im *Import) decodeFaults(name string, err error) {
	var te *yaml.TypeError
	if !errors.As(err, &te) {
		im.fault(yamlFault(name, err.Error()))
		return
	}
	for _, msg := range te.Errors {
		im.fault(yamlFault(name, msg))
	}
}

// place takes the objects out of the nested form and names them.
func (im *Import) place(name string, f yamlFile, at lines) {
	for i, s := range f.Sites {
		s.ID = cmp.Or(s.ID, plant.Slug(s.Name))
		if im.once(at.of(name, "sites", i), "site", s.ID) {
			im.sites = append(im.sites, whole(s.ID, s.Site))
		}
		for j, a := range s.AHUs {
			a.ID = cmp.Or(a.ID, plant.Slug(a.Tag))
			ahuID := plant.MakeBankID(s.ID, a.ID, "")
			if im.once(at.of(name, "sites", i, j), "ahu", string(ahuID)) {
				im.ahus = append(im.ahus, whole(string(ahuID), a.AHU))
			}
			for k, b := range a.Banks {
				b.ID = cmp.Or(b.ID, string(b.Stage))
				bankID := plant.MakeBankID(s.ID, a.ID, b.ID)
				if im.once(at.of(name, "sites", i, j, k), "bank", string(bankID)) {
					im.banks = append(im.banks, whole(string(bankID), b))
				}
			}
		}
	}
	for i, it := range f.Items {
		if im.once(at.of(name, "items", i), "item", it.Code) {
			im.items = append(im.items, whole(it.Code, it))
		}
	}
}

// WriteYAML writes contents in the YAML form, which carries everything.
func WriteYAML(w io.Writer, c plant.Contents) error {
	enc := yaml.NewEncoder(w)
	enc.SetIndent(2)
	if err := enc.Encode(nested(c)); err != nil {
		return fmt.Errorf("write register: %w", err)
	}
	return enc.Close()
}

// nested puts AHUs into their sites and banks into their AHUs, in the order of
// the register.
func nested(c plant.Contents) yamlFile {
	reg := plant.NewRegister(c)
	f := yamlFile{Items: reg.Items()}
	for _, s := range reg.Sites() {
		ys := yamlSite{Site: s}
		for _, ahuID := range reg.AHUs(s.ID) {
			a, _ := reg.AHU(ahuID)
			ya := yamlAHU{AHU: a}
			for _, bankID := range reg.Banks(ahuID) {
				b, _ := reg.Bank(bankID)
				ya.Banks = append(ya.Banks, b)
			}
			ys.AHUs = append(ys.AHUs, ya)
		}
		f.Sites = append(f.Sites, ys)
	}
	return f
}

// lines knows the line at which each object of a YAML file begins, by its path
// of list indexes.
type lines map[string]int

func (l lines) of(file, list string, path ...int) position {
	return position{Fault{File: file, Row: l[fmt.Sprint(list, path)]}, func(field string) string { return field }}
}

func linesOf(doc *yaml.Node) lines {
	l := lines{}
	inner := map[string]string{"sites": "ahus", "ahus": "banks"}
	var walk func(parent *yaml.Node, key, list string, path []int)
	walk = func(parent *yaml.Node, key, list string, path []int) {
		seq := child(parent, key)
		if seq == nil || seq.Kind != yaml.SequenceNode {
			return
		}
		for i, n := range seq.Content {
			p := append(slices.Clone(path), i)
			l[fmt.Sprint(list, p)] = n.Line
			if next := inner[key]; next != "" {
				walk(resolve(n), next, list, p)
			}
		}
	}
	if len(doc.Content) > 0 {
		walk(doc.Content[0], "sites", "sites", nil)
		walk(doc.Content[0], "items", "items", nil)
	}
	return l
}

// child is the value of a key of a mapping, or nil.
func child(n *yaml.Node, key string) *yaml.Node {
	if n.Kind != yaml.MappingNode {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return resolve(n.Content[i+1])
		}
	}
	return nil
}

// resolve follows an alias to what it stands for.
func resolve(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode && n.Alias != nil {
		return n.Alias
	}
	return n
}
