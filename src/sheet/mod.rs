//! Stage 11: the drawing and the page. Content (what), layout (where, millimetres), PDF and HTML (how).
