import { defineConfig } from 'vite'

export default defineConfig({
  build: {
    target: 'es2022',
    // The page's policy allows files of the server alone: nothing inlined, no helper script in the page.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 900,
  },
})
