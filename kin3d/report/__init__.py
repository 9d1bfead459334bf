"""The report page: one self-contained HTML file that opens offline, reads well on a phone and on paper."""
