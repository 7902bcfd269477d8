package copies

import (
	"crypto/md5"
	"crypto/sha256"
	"crypto/sha512"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const declaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

// bag is a valid one, in the form of RFC 8493.
func bag() tree {
	b := tree{"bagit.txt": declaration, "data/a.jpg": "one", "data/100% ü\n.jpg": "two", "data/.DS_Store": "kept"}
	b["manifest-sha256.txt"] = fmt.Sprintf("%x  data/a.jpg\n%x  data/100%%25 ü%%0A.jpg\n%x  data/.DS_Store\n",
		sha256.Sum256([]byte("one")), sha256.Sum256([]byte("two")), sha256.Sum256([]byte("kept")))
	b["manifest-sha512.txt"] = fmt.Sprintf("%x data/a.jpg\n%x *data/100%%25 u\u0308%%0a.jpg\r\n%x\tdata/.DS_Store\n",
		sha512.Sum512([]byte("one")), sha512.Sum512([]byte("two")), sha512.Sum512([]byte("kept")))
	b["tagmanifest-md5.txt"] = fmt.Sprintf("%x  bagit.txt\n%x  manifest-sha256.txt\n", md5.Sum([]byte(declaration)), md5.Sum([]byte(b["manifest-sha256.txt"])))
	return b
}

func TestBags(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(tree)
		want   []BagFault
	}{
		{"valid", func(tree) {}, nil},
		{"damaged", func(b tree) { b["data/a.jpg"] = "0ne" }, []BagFault{
			{"data/a.jpg", "it has other bytes than when manifest-sha256.txt was written"},
			{"data/a.jpg", "it has other bytes than when manifest-sha512.txt was written"},
		}},
		{"missing", func(b tree) { delete(b, "data/a.jpg") }, []BagFault{
			{"data/a.jpg", "manifest-sha256.txt lists it, and it is not there"},
			{"data/a.jpg", "manifest-sha512.txt lists it, and it is not there"},
		}},
		{"not listed", func(b tree) { b["data/b.jpg"] = "three" }, []BagFault{{"data/b.jpg", "it is in the bag, and not in each manifest"}}},
		{"tag file changed", func(b tree) { b["manifest-sha256.txt"] += "\n" }, []BagFault{
			{"manifest-sha256.txt", "it has other bytes than when tagmanifest-md5.txt was written"},
		}},
		{"paths that lead out", func(b tree) {
			sum := fmt.Sprintf("%x", sha256.Sum256([]byte("one")))
			b["manifest-sha256.txt"] += sum + "  ../card/a.jpg\n" + sum + "  /etc/passwd\n" + sum + "  data/../../x\n" + sum + "  ~/x\nhello\n"
			delete(b, "tagmanifest-md5.txt")
		}, []BagFault{
			{"manifest-sha256.txt", "line 4 names a file that is no part of what it lists"},
			{"manifest-sha256.txt", "line 5 names a file that is no part of what it lists"},
			{"manifest-sha256.txt", "line 6 names a file that is no part of what it lists"},
			{"manifest-sha256.txt", "line 7 names a file that is no part of what it lists"},
			{"manifest-sha256.txt", "line 8 is not a checksum and a path"},
		}},
		{"unknown checksum", func(b tree) { b["manifest-xyz1.txt"] = "aa  data/a.jpg\n" }, []BagFault{
			{"manifest-xyz1.txt", "its kind of checksum is not known: it was not checked"},
		}},
		{"no manifest", func(b tree) {
			maps.DeleteFunc(b, func(name, _ string) bool { return name == "manifest-sha256.txt" || name == "manifest-sha512.txt" })
			delete(b, "tagmanifest-md5.txt")
			delete(b, "data/a.jpg")
			delete(b, "data/100% ü\n.jpg")
		}, []BagFault{{"bagit.txt", "there is no manifest of the payload beside it"}}},
		{"another encoding", func(b tree) { b["bagit.txt"] = "BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-16\n" }, []BagFault{
			{"bagit.txt", "its names are in UTF-16, which is not read: the manifests were not checked"},
		}},
		{"a link to what is listed", func(b tree) { b["data/a.jpg"] = "-> card/a.jpg" }, []BagFault{
			{"data/a.jpg", "manifest-sha256.txt lists it, and it is not there"},
			{"data/a.jpg", "manifest-sha512.txt lists it, and it is not there"},
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			top := t.TempDir()
			b := bag()
			c.change(b)
			tree{"a.jpg": "one"}.write(t, top, "card")
			in := tree{}
			for name, content := range b {
				in["2026/bag/"+name] = content
			}
			dir := in.write(t, top, "copy")
			a, err := CheckBags(t.Context(), []string{dir}, &Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(a.Bags) != 1 || a.Bags[0].Path != "2026/bag" {
				t.Fatalf("found %d bags", len(a.Bags))
			}
			if diff := cmp.Diff(c.want, a.Bags[0].Faults); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
		})
	}
}

// A bag is a copy like another, and checked besides, also when the check goes on
// after a stop.
func TestBagAsCopy(t *testing.T) {
	top := t.TempDir()
	card := tree{"DCIM/a.jpg": "one"}.write(t, top, "card")
	b := bag()
	b["data/100% ü\n.jpg"] = "tw0"
	dir := b.write(t, top, "copy")
	a, err := Compare(t.Context(), card, []string{dir}, &Options{Journal: filepath.Join(top, "cache", "j")})
	if err != nil {
		t.Fatal(err)
	}
	if got := said(a); len(got) > 0 {
		t.Errorf("found %v", got)
	}
	if len(a.Bags) != 1 || len(a.Bags[0].Faults) != 2 || a.Bags[0].Files != 3 {
		t.Errorf("bags: %+v", a.Bags)
	}
	if err := os.RemoveAll(filepath.Join(dir, "bagit.txt")); err != nil {
		t.Fatal(err)
	}
	if _, err := CheckBags(t.Context(), []string{dir}, &Options{}); err != ErrNoBag {
		t.Errorf("without its declaration: %v", err)
	}
}
