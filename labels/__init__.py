"""Ink and paper: symbols, labels, plates and sheets.

payload, code_symbol: what a symbol carries, and its modules. media: label stocks. typeface,
text, boxes, layout: measuring, fitting, placing. kinds: what each label says; assembly_label,
plates: how; arrange: on a stock. table, swap_sheet, kit_sheet: reports. pdf: the only one that
draws.
"""
