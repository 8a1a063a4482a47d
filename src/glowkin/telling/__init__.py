"""Figures and the report, from records only.

``figures`` draws; ``report`` puts figures, tables and words on one page; ``out_dir`` writes the folder of a
run and makes its report again.
"""
