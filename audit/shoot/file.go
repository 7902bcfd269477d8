package shoot

import "prestrike/exifread"

// Torn reports whether a picture can be read from the file whose image data
// ends early.
func (f *File) Torn() bool {
	return f.Err == nil && f.Meta.Integrity.State == exifread.IntegrityTorn
}

// Raw reports whether the file is raw, by content, or by name where the
// content is not known.
func (f *File) Raw() bool {
	if f.Err == nil {
		return f.Meta.Format.Raw()
	}
	return exifread.RawExtension(f.Path)
}
